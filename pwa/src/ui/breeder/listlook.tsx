import type { JSX } from 'preact';
import { useEffect, useState } from 'preact/hooks';
import type {
  ImportColumnJson,
  ImportMappingJson,
  ImportProblemJson,
  ImportQuestionJson,
  PreviewImportResponseJson,
} from '../../api/gen/warmhand/v1/import_service_pb';
import { say } from '../../core/say';
import { date, day } from '../../core/time';
import { Button, Field, Notice } from '../parts/controls';
import { useLoad, useSave } from './hooks';
import { Problem, Trouble, Waiting } from './nav';
import { species } from './reference';
import { ask } from './session';

/** What the person agreed to. */
export interface Answered {
  mapping: ImportMappingJson;
  leave: number[];
  wrong: number;
  sheets: string[];
}

const units = {
  mass: [
    { value: 'g', label: 'g' },
    { value: 'kg', label: 'kg' },
    { value: 'oz', label: 'oz' },
    { value: 'lb', label: 'lb' },
  ],
  length: [
    { value: 'mm', label: 'mm' },
    { value: 'cm', label: 'cm' },
    { value: 'm', label: 'm' },
    { value: 'in', label: 'in' },
    { value: 'ft', label: 'ft' },
  ],
} as const;

const unitsOf: Record<string, readonly { value: string; label: string }[]> = {
  weight: units.mass,
  weight_on: units.mass,
  prey_mass: units.mass,
  snout_vent: units.length,
  total_length: units.length,
};

const orders = [
  { value: 'dmy', label: say('Day, month, year') },
  { value: 'mdy', label: say('Month, day, year') },
  { value: 'ymd', label: say('Year, month, day') },
  { value: 'days1900', label: say('Days since 1900') },
  { value: 'days1904', label: say('Days since 1904') },
];

/** "2 animals and 340 log lines". */
export function added(i: { animals?: number; entries?: number }): string {
  return say('{animals} and {lines}', {
    animals: say({ one: '1 animal', other: '{n} animals' }, { n: i.animals ?? 0 }),
    lines: say({ one: '1 log line', other: '{n} log lines' }, { n: i.entries ?? 0 }),
  });
}

/** A list as it was understood, to be put right and confirmed. */
export function Look({
  name,
  sheet,
  confirm,
  leave,
}: {
  name: string;
  sheet?: string | undefined;
  confirm: (answered: Answered) => Promise<void>;
  leave: () => void;
}): JSX.Element {
  const [asked, setAsked] = useState<ImportMappingJson>(sheet ? { sheet } : {});
  const [out, setOut] = useState<ReadonlySet<number>>(new Set());
  const leaveRows = [...out].sort((a, b) => a - b);
  const loaded = useLoad(JSON.stringify([asked, leaveRows]), (signal) =>
    ask<PreviewImportResponseJson>('POST', `/v1/${name}:preview`, { mapping: asked, leaveRows }, { signal }),
  );
  // What was there stays on the screen while the next answer is on its way.
  const [v, setV] = useState<PreviewImportResponseJson>();
  useEffect(() => {
    if (loaded.data) setV(loaded.data);
  }, [loaded.data]);
  const save = useSave();
  if (!v) return loaded.error ? <Refused error={loaded.error} again={loaded.again} leave={leave} /> : <Waiting />;

  const mapping = v.mapping ?? {};
  const change = (c: ImportMappingJson) => setAsked({ ...mapping, ...c });
  const column = (i: number, c: ImportColumnJson) =>
    change({
      columns: (mapping.columns ?? []).map((old, j) => {
        if (j === i) return c;
        const twice = c.meaning && c.meaning !== 'weight_on' && old.meaning === c.meaning;
        return twice ? { meaning: '' } : old;
      }),
    });
  const open = (v.questions ?? []).length > 0;
  const fresh = (v.animals ?? 0) + (v.entries ?? 0);
  const wrong = v.wrong ?? 0;
  return (
    <>
      <p role="status" aria-busy={!loaded.data}>
        {[
          say('{rows}: {animals} and {lines}.', {
            rows: say({ one: '1 row', other: '{n} rows' }, { n: v.rowCount ?? 0 }),
            animals: say({ one: '1 new animal', other: '{n} new animals' }, { n: v.animals ?? 0 }),
            lines: say({ one: '1 log line', other: '{n} log lines' }, { n: v.entries ?? 0 }),
          }),
          v.already &&
            say(
              {
                one: '1 log line is there already and not added again.',
                other: '{n} log lines are there already and not added again.',
              },
              { n: v.already },
            ),
          wrong > 0 && say({ one: '1 thing is wrong.', other: '{n} things are wrong.' }, { n: wrong }),
          v.warnings &&
            say({ one: '1 thing is worth a look.', other: '{n} things are worth a look.' }, { n: v.warnings }),
        ]
          .filter(Boolean)
          .join(' ')}
      </p>
      {v.earlierTime && (
        <Notice kind="info">
          {say('You brought this very file in {day}. What is there already is not added again.', {
            day: day(v.earlierTime),
          })}
        </Notice>
      )}
      {Boolean(loaded.error) && <Trouble error={loaded.error} again={loaded.again} />}
      {(v.sheets?.length ?? 0) > 1 && (
        <Field
          label={say('Sheet of the workbook')}
          value={mapping.sheet ?? ''}
          onInput={(s) => {
            setOut(new Set());
            setAsked({ sheet: s });
          }}
          options={(v.sheets ?? []).map((s) => ({ value: s, label: s }))}
        />
      )}
      {(v.questions ?? []).map((q) => (
        <Question
          key={`${q.code} ${q.column}`}
          q={q}
          answer={(code) => {
            if (q.code === 'date_order' && q.column !== undefined) {
              column(q.column, { ...mapping.columns?.[q.column], order: code });
            } else if (q.code === 'decimal') change({ decimal: code });
            else if (q.code === 'undated_on') change({ undatedOn: code });
            else if (q.code === 'blank_result') change({ blankResult: code });
          }}
        />
      ))}
      <FirstRows v={v} />
      <section class="stack" aria-labelledby="i-c">
        <h2 id="i-c">{say('What the columns hold')}</h2>
        <ul class="mapping">
          {(v.headings ?? []).map((h, i) => (
            <ColumnField
              key={i}
              heading={h}
              samples={[...new Set((v.rows ?? []).map((r) => r.cells?.[i] ?? '').filter(Boolean))]}
              column={mapping.columns?.[i] ?? {}}
              meanings={v.meanings ?? []}
              change={(c) => column(i, c)}
            />
          ))}
        </ul>
        <Options mapping={mapping} change={change} />
      </section>
      <section class="stack" aria-labelledby="i-p">
        <h2 id="i-p">{wrong + (v.warnings ?? 0) > 0 ? say('Wrong, or worth a look') : say('Nothing is wrong')}</h2>
        <Problems
          list={v.problems ?? []}
          below={mapping.headingRow ?? 0}
          all={wrong + (v.warnings ?? 0)}
          out={out}
          set={(row, on) => {
            const next = new Set(out);
            if (on) next.add(row);
            else next.delete(row);
            setOut(next);
            setAsked(mapping);
          }}
        />
      </section>
      <Problem error={save.error} />
      {open && <p class="muted">{say('Answer what is asked above first.')}</p>}
      {!open && fresh === 0 && <p class="muted">{say('There is nothing new in this list.')}</p>}
      <div class="actions">
        <Button
          kind="main"
          busy={save.busy}
          disabled={open || fresh === 0 || !loaded.data}
          onClick={() => void save.run(() => confirm({ mapping, leave: leaveRows, wrong, sheets: v.sheets ?? [] }))}
        >
          {wrong > 0 ? say('Bring in the rest, leave out what is wrong') : say('Bring it in')}
        </Button>
        <Button kind="quiet" onClick={leave}>
          {say('Not this list')}
        </Button>
      </div>
    </>
  );
}

function Refused({ error, again, leave }: { error: unknown; again: () => void; leave: () => void }): JSX.Element {
  return (
    <>
      <Trouble error={error} again={again} />
      <div class="actions">
        <Button onClick={leave}>{say('Choose another file')}</Button>
      </div>
    </>
  );
}

function Question({ q, answer }: { q: ImportQuestionJson; answer: (code: string) => void }): JSX.Element {
  const [on, setOn] = useState('');
  return (
    <Notice kind="warn" title={q.text}>
      {q.code === 'undated_on' && (
        <div class="row">
          <Field label={say('Day')} type="date" value={on} onInput={setOn} />
          <Button disabled={!on} onClick={() => answer(on)}>
            {say('On this day')}
          </Button>
        </div>
      )}
      <div class="actions">
        {(q.choices ?? []).map((c) => (
          <Button key={c.code} onClick={() => answer(c.code ?? '')}>
            {c.label}
          </Button>
        ))}
      </div>
    </Notice>
  );
}

function ColumnField({
  heading,
  samples,
  column,
  meanings,
  change,
}: {
  heading: string;
  samples: string[];
  column: ImportColumnJson;
  meanings: { code?: string; label?: string }[];
  change: (c: ImportColumnJson) => void;
}): JSX.Element {
  const known = unitsOf[column.meaning ?? ''];
  return (
    <li class={column.meaning ? 'card' : 'card left'}>
      <Field
        label={heading}
        hint={samples.slice(0, 3).join(' · ') || say('Empty')}
        value={column.meaning ?? ''}
        onInput={(meaning) => change({ meaning })}
        options={[
          { value: '', label: say('Leave this out') },
          ...meanings.map((m) => ({ value: m.code ?? '', label: m.label ?? '' })),
        ]}
      />
      {known && (
        <Field
          label={say('Unit of {heading}', { heading })}
          labelHidden
          value={column.unit ?? ''}
          onInput={(unit) => change({ ...column, unit })}
          options={known}
        />
      )}
      {column.order && (
        <Field
          label={say('Order of the dates in {heading}', { heading })}
          labelHidden
          value={column.order}
          onInput={(order) => change({ ...column, order })}
          options={orders}
        />
      )}
    </li>
  );
}

function Options({
  mapping,
  change,
}: {
  mapping: ImportMappingJson;
  change: (c: ImportMappingJson) => void;
}): JSX.Element {
  const kinds = useLoad('species', () => species());
  const [row, setRow] = useState('');
  const has = (meaning: string) => (mapping.columns ?? []).some((c) => c.meaning === meaning);
  return (
    <div class="stack">
      <Field
        label={say('Species of new animals whose row names none')}
        value={mapping.species ?? ''}
        onInput={(s) => change({ species: s })}
        options={[
          {
            value: '',
            label: has('species') ? say('None: such rows are left out') : say('None: only animals of the stock book'),
          },
          ...(kinds.data ?? []).map((k) => ({ value: k.id ?? '', label: k.commonName ?? '' })),
          { value: 'other_snake', label: say('Another snake') },
        ]}
      />
      <label>
        <input
          type="checkbox"
          checked={mapping.fillDown ?? false}
          onChange={(e) => change({ fillDown: e.currentTarget.checked })}
        />
        {say('An empty name or date means the one of the row above')}
      </label>
      {has('species') && (
        <label>
          <input
            type="checkbox"
            checked={mapping.otherSpecies ?? false}
            onChange={(e) => change({ otherSpecies: e.currentTarget.checked })}
          />
          {say('A species that is not listed is “other snake”')}
        </label>
      )}
      {mapping.undatedOn && (
        <div class="actions">
          <span>
            {mapping.undatedOn === 'out'
              ? say('What has no date is left out.')
              : say('What has no date is of {day}.', { day: date(mapping.undatedOn) })}
          </span>
          <Button kind="quiet" onClick={() => change({ undatedOn: '' })}>
            {say('Ask again')}
          </Button>
        </div>
      )}
      <details>
        <summary>{say('More about the list')}</summary>
        <div class="stack">
          <Field
            label={say('Numbers are written like')}
            value={mapping.decimal ?? ''}
            onInput={(decimal) => change({ decimal })}
            options={[
              { value: '', label: say('As the list shows') },
              { value: 'point', label: '1,234.5' },
              { value: 'comma', label: '1.234,5' },
            ]}
          />
          <div class="row">
            <Field
              label={say('Row with the headings')}
              inputMode="numeric"
              hint={
                mapping.headingRow === -1
                  ? say('There is none now')
                  : say('Row {n} now; leave empty for none', { n: mapping.headingRow ?? 0 })
              }
              value={row}
              onInput={setRow}
            />
            <Button
              onClick={() => {
                const n = row.trim() === '' ? -1 : Number.parseInt(row, 10);
                // Other headings mean other columns.
                if (n === -1 || n > 0) change({ headingRow: n, columns: n > 0 ? [] : (mapping.columns ?? []) });
              }}
            >
              {say('Use this row')}
            </Button>
          </div>
        </div>
      </details>
    </div>
  );
}

function FirstRows({ v }: { v: PreviewImportResponseJson }): JSX.Element {
  return (
    <details open>
      <summary>{say('The first rows')}</summary>
      <section
        class="scroll"
        aria-label={say('The first rows')}
        // biome-ignore lint/a11y/noNoninteractiveTabindex: a wide table is scrolled by keyboard
        tabIndex={0}
      >
        <table>
          <thead>
            <tr>
              <th scope="col">{say('Row')}</th>
              {(v.headings ?? []).map((h, i) => (
                <th key={i} scope="col">
                  {h}
                </th>
              ))}
            </tr>
          </thead>
          <tbody>
            {(v.rows ?? []).map((r) => (
              <tr key={r.number}>
                <th scope="row">{r.number}</th>
                {(v.headings ?? []).map((_, i) => (
                  <td key={i}>{r.cells?.[i]}</td>
                ))}
              </tr>
            ))}
          </tbody>
        </table>
      </section>
    </details>
  );
}

/** Where a problem stands in the list. */
function placeOf(row: number, column: string | undefined, value: string | undefined): string {
  if (column && value) return say('Row {row}, {column}: “{value}”', { row, column, value });
  if (column) return say('Row {row}, {column}', { row, column });
  return value ? say('Row {row}: “{value}”', { row, value }) : say('Row {row}', { row });
}

/** So many at once, so that a long list stays quick to read. */
const page = 30;

function Problems({
  list,
  below,
  all,
  out,
  set,
}: {
  list: ImportProblemJson[];
  /** The row with the headings, which cannot be left out. */
  below: number;
  all: number;
  out: ReadonlySet<number>;
  set: (row: number, on: boolean) => void;
}): JSX.Element | null {
  const [shown, setShown] = useState(page);
  const left = [...out].sort((a, b) => a - b);
  if (list.length === 0 && left.length === 0) return null;
  return (
    <>
      <ul class="list">
        {list.slice(0, shown).map((p, i) => {
          const row = p.row ?? 0;
          return (
            <li key={`${row} ${i}`} class="stack">
              <p>
                <strong>{placeOf(row, p.column, p.value)}</strong>{' '}
                <span class="muted">{p.warning ? say('Worth a look.') : say('Left out.')}</span>
              </p>
              <p>{p.text}</p>
              {p.warning && row > below && (
                <div class="actions">
                  <Button onClick={() => set(row, true)}>{say('Leave row {row} out', { row })}</Button>
                </div>
              )}
            </li>
          );
        })}
      </ul>
      {list.length > shown && (
        <div class="actions">
          <Button onClick={() => setShown(shown + page)}>{say('Show more of {all}', { all })}</Button>
        </div>
      )}
      {shown >= list.length && all > list.length && (
        <p class="muted">
          {say('And {all} more. Put these right first, or say above what a column holds.', { all: all - list.length })}
        </p>
      )}
      {left.length > 0 && (
        <div class="actions">
          {left.map((row) => (
            <Button key={row} kind="quiet" icon="close" onClick={() => set(row, false)}>
              {say('Row {row} is left out: take it back in', { row })}
            </Button>
          ))}
        </div>
      )}
    </>
  );
}
