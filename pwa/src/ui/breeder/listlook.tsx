import type { JSX } from 'preact';
import { useEffect, useState } from 'preact/hooks';
import type {
  ImportColumnJson,
  ImportMappingJson,
  ImportProblemJson,
  ImportQuestionJson,
  PreviewImportResponseJson,
} from '../../api/gen/warmhand/v1/import_service_pb';
import { day } from '../../core/time';
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
  { value: 'dmy', label: 'Day, month, year' },
  { value: 'mdy', label: 'Month, day, year' },
  { value: 'ymd', label: 'Year, month, day' },
  { value: 'days1900', label: 'Days since 1900' },
  { value: 'days1904', label: 'Days since 1904' },
];

const many = (n: number | undefined, one: string, more: string) => `${n ?? 0} ${n === 1 ? one : more}`;

/** "2 animals and 340 log lines". */
export function added(i: { animals?: number; entries?: number }): string {
  return `${many(i.animals, 'animal', 'animals')} and ${many(i.entries, 'log line', 'log lines')}`;
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
        {many(v.rowCount, 'row', 'rows')}: {many(v.animals, 'new animal', 'new animals')} and{' '}
        {many(v.entries, 'log line', 'log lines')}.
        {Boolean(v.already) && ` ${many(v.already, 'log line is', 'log lines are')} there already and not added again.`}
        {wrong > 0 && ` ${many(wrong, 'thing is', 'things are')} wrong.`}
        {Boolean(v.warnings) && ` ${many(v.warnings, 'thing is', 'things are')} worth a look.`}
      </p>
      {v.earlierTime && (
        <Notice kind="info">
          You brought this very file in {day(v.earlierTime)}. What is there already is not added again.
        </Notice>
      )}
      {Boolean(loaded.error) && <Trouble error={loaded.error} again={loaded.again} />}
      {(v.sheets?.length ?? 0) > 1 && (
        <Field
          label="Sheet of the workbook"
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
        <h2 id="i-c">What the columns hold</h2>
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
        <h2 id="i-p">{wrong + (v.warnings ?? 0) > 0 ? 'Wrong, or worth a look' : 'Nothing is wrong'}</h2>
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
      {open && <p class="muted">Answer what is asked above first.</p>}
      {!open && fresh === 0 && <p class="muted">There is nothing new in this list.</p>}
      <div class="actions">
        <Button
          kind="main"
          busy={save.busy}
          disabled={open || fresh === 0 || !loaded.data}
          onClick={() => void save.run(() => confirm({ mapping, leave: leaveRows, wrong, sheets: v.sheets ?? [] }))}
        >
          {wrong > 0 ? 'Bring in the rest, leave out what is wrong' : 'Bring it in'}
        </Button>
        <Button kind="quiet" onClick={leave}>
          Not this list
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
        <Button onClick={leave}>Choose another file</Button>
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
          <Field label="Day" type="date" value={on} onInput={setOn} />
          <Button disabled={!on} onClick={() => answer(on)}>
            On this day
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
        hint={samples.slice(0, 3).join(' · ') || 'Empty'}
        value={column.meaning ?? ''}
        onInput={(meaning) => change({ meaning })}
        options={[
          { value: '', label: 'Leave this out' },
          ...meanings.map((m) => ({ value: m.code ?? '', label: m.label ?? '' })),
        ]}
      />
      {known && (
        <Field
          label={`Unit of ${heading}`}
          labelHidden
          value={column.unit ?? ''}
          onInput={(unit) => change({ ...column, unit })}
          options={known}
        />
      )}
      {column.order && (
        <Field
          label={`Order of the dates in ${heading}`}
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
        label="Species of new animals whose row names none"
        value={mapping.species ?? ''}
        onInput={(s) => change({ species: s })}
        options={[
          {
            value: '',
            label: has('species') ? 'None: such rows are left out' : 'None: only animals of the stock book',
          },
          ...(kinds.data ?? []).map((k) => ({ value: k.id ?? '', label: k.commonName ?? '' })),
          { value: 'other_snake', label: 'Another snake' },
        ]}
      />
      <label>
        <input
          type="checkbox"
          checked={mapping.fillDown ?? false}
          onChange={(e) => change({ fillDown: e.currentTarget.checked })}
        />
        An empty name or date means the one of the row above
      </label>
      {has('species') && (
        <label>
          <input
            type="checkbox"
            checked={mapping.otherSpecies ?? false}
            onChange={(e) => change({ otherSpecies: e.currentTarget.checked })}
          />
          A species that is not listed is “other snake”
        </label>
      )}
      {mapping.undatedOn && (
        <div class="actions">
          <span>
            {mapping.undatedOn === 'out'
              ? 'What has no date is left out.'
              : `What has no date is of ${mapping.undatedOn}.`}
          </span>
          <Button kind="quiet" onClick={() => change({ undatedOn: '' })}>
            Ask again
          </Button>
        </div>
      )}
      <details>
        <summary>More about the list</summary>
        <div class="stack">
          <Field
            label="Numbers are written like"
            value={mapping.decimal ?? ''}
            onInput={(decimal) => change({ decimal })}
            options={[
              { value: '', label: 'As the list shows' },
              { value: 'point', label: '1,234.5' },
              { value: 'comma', label: '1.234,5' },
            ]}
          />
          <div class="row">
            <Field
              label="Row with the headings"
              inputMode="numeric"
              hint={
                mapping.headingRow === -1
                  ? 'There is none now'
                  : `Row ${mapping.headingRow ?? 0} now; leave empty for none`
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
              Use this row
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
      <summary>The first rows</summary>
      <section
        class="scroll"
        aria-label="The first rows"
        // biome-ignore lint/a11y/noNoninteractiveTabindex: a wide table is scrolled by keyboard
        tabIndex={0}
      >
        <table>
          <thead>
            <tr>
              <th scope="col">Row</th>
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
                <strong>
                  Row {row}
                  {p.column && `, ${p.column}`}
                  {p.value && `: “${p.value}”`}
                </strong>{' '}
                <span class="muted">{p.warning ? 'Worth a look.' : 'Left out.'}</span>
              </p>
              <p>{p.text}</p>
              {p.warning && row > below && (
                <div class="actions">
                  <Button onClick={() => set(row, true)}>Leave row {row} out</Button>
                </div>
              )}
            </li>
          );
        })}
      </ul>
      {list.length > shown && (
        <div class="actions">
          <Button onClick={() => setShown(shown + page)}>Show more of {all}</Button>
        </div>
      )}
      {shown >= list.length && all > list.length && (
        <p class="muted">And {all - list.length} more. Put these right first, or say above what a column holds.</p>
      )}
      {left.length > 0 && (
        <div class="actions">
          {left.map((row) => (
            <Button key={row} kind="quiet" icon="close" onClick={() => set(row, false)}>
              Row {row} is left out: take it back in
            </Button>
          ))}
        </div>
      )}
    </>
  );
}
