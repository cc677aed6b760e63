import { signal } from '@preact/signals';
import type { JSX } from 'preact';
import { useContext, useEffect, useMemo, useState } from 'preact/hooks';
import { withQuery } from '../../api/client';
import type {
  AnimalJson,
  CreateAnimalResponseJson,
  ListAnimalsResponseJson,
  SexJson,
  StockAnimalJson,
} from '../../api/gen/warmhand/v1/animal_service_pb';
import type { CreateEntryResponseJson, EntryJson } from '../../api/gen/warmhand/v1/entry_service_pb';
import type { GeneJson, SpeciesJson } from '../../api/gen/warmhand/v1/reference_service_pb';
import { idOf } from '../../core/ids';
import { facts, say } from '../../core/say';
import { settings } from '../../core/settings';
import { ago, date } from '../../core/time';
import { formatMass, massInWords, parseMass, parseNumber } from '../../core/units';
import { Button, Field, Notice } from '../parts/controls';
import { Icon } from '../parts/icons';
import { FormError, problem, reasonOf, useLoad, useSave } from './hooks';
import { AsOf, Go, Heading, Link, Problem, Trouble, Waiting } from './nav';
import { ChooseLabels } from './print';
import { ReadyWord } from './ready';
import { genes as geneTable, species as speciesTable } from './reference';
import { ask, breeder } from './session';
import { type Choice, choose, everything, missing, type Order, occurring, type Where } from './stock';
import { fetchStock, orCopy } from './table';

export function speciesName(all: SpeciesJson[] | undefined, id: string | undefined): string {
  const s = all?.find((x) => x.id === id);
  return s?.commonName ?? (id ?? '').replaceAll('_', ' ');
}

export function sexWord(s: SexJson | undefined): string {
  return s === 'SEX_FEMALE' ? say('female') : s === 'SEX_MALE' ? say('male') : say('sex unknown');
}

/** What was chosen last; it outlives a look at one animal. */
const choice = signal<Choice>(everything);
/** What was loaded last, shown until the next answer is here. */
const kept = signal<{ of: string; animals: StockAnimalJson[] }>({ of: '', animals: [] });

interface Book {
  animals: StockAnimalJson[];
  /** When the copy was fetched, ms; without it, it comes from the service. */
  at?: number;
}

export function AnimalsPage(): JSX.Element {
  const [labels, setLabels] = useState(false);
  const loaded = useLoad(`stock ${breeder()}`, async (signal) => {
    const book = await orCopy<Book>(
      async () => ({ animals: await fetchStock(signal) }),
      (copy) => copy,
    );
    kept.value = { of: breeder(), animals: book.animals };
    return book;
  });
  useEffect(() => {
    addEventListener('online', loaded.again);
    return () => removeEventListener('online', loaded.again);
  }, [loaded.again]);
  const kinds = useLoad('species', () => speciesTable());
  const c = choice.value;
  const put =
    <K extends keyof Choice>(key: K) =>
    (value: Choice[K]) => {
      choice.value = { ...c, [key]: value };
    };
  const all = loaded.data?.animals ?? (kept.value.of === breeder() ? kept.value.animals : undefined);
  const shown = useMemo(() => choose(all ?? [], c, kinds.data), [all, c, kinds.data]);
  const animals = shown.flatMap((s) => s.animal ?? []);
  const narrowed = [c.species, c.clutch, c.unweighed, c.order !== 'newest'].filter(Boolean).length;
  return (
    <main class="page">
      <div class="row">
        <Heading>{say('Stock book')}</Heading>
        <Link to="/b/animals/new" class="button main end">
          <Icon name="plus" />
          <span>{say('Add an animal')}</span>
        </Link>
      </div>
      <div class="actions thrice">
        <Link to="/b/sell" class="button">
          <Icon name="hand" />
          <span>{say('Sell')}</span>
        </Link>
        <Link to="/b/runs/weigh" class="button">
          <Icon name="scale" />
          <span>{say('Weigh')}</span>
        </Link>
        <Link to="/b/runs/feed" class="button">
          <Icon name="meal" />
          <span>{say('Feed')}</span>
        </Link>
      </div>
      <search class="stack">
        <div class="row wide">
          <Field
            label={say('Search')}
            type="search"
            value={c.words}
            onInput={put('words')}
            maxLength={100}
            placeholder={say('Label, gene …')}
          />
          <Field
            label={say('Show')}
            value={c.where}
            onInput={(v) => put('where')(v as Where)}
            options={[
              { value: 'here', label: say('In stock') },
              { value: 'ready', label: say('Ready for sale') },
              { value: 'not_yet', label: say('Not yet ready') },
              { value: 'away', label: say('Handed over') },
              { value: 'all', label: say('All animals') },
            ]}
          />
        </div>
        <details>
          <summary>{narrowed > 0 ? say('Filter and sort ({n} set)', { n: narrowed }) : say('Filter and sort')}</summary>
          <div class="row wide">
            <Field
              label={say('Species')}
              value={c.species}
              onInput={put('species')}
              options={[
                { value: '', label: say('Any') },
                ...occurring(all ?? [], 'species').map((id) => ({ value: id, label: speciesName(kinds.data, id) })),
              ]}
            />
            <Field
              label={say('Clutch')}
              value={c.clutch}
              onInput={put('clutch')}
              options={[
                { value: '', label: say('Any') },
                ...occurring(all ?? [], 'clutch').map((label) => ({ value: label, label })),
              ]}
            />
            <Field
              label={say('Not weighed for')}
              value={String(c.unweighed)}
              onInput={(v) => put('unweighed')(Number(v))}
              options={[
                { value: '0', label: say('Any time') },
                { value: '7', label: say('a week') },
                { value: '14', label: say('two weeks') },
                { value: '30', label: say('a month') },
              ]}
            />
            <Field
              label={say('Sort by')}
              value={c.order}
              onInput={(v) => put('order')(v as Order)}
              options={[
                { value: 'newest', label: say('Newest first') },
                { value: 'name', label: say('Label') },
                { value: 'place', label: say('Place') },
                { value: 'weighed', label: say('Longest not weighed') },
                { value: 'heaviest', label: say('Heaviest') },
                { value: 'oldest', label: say('Oldest') },
              ]}
            />
          </div>
          {narrowed > 0 && (
            <div class="actions">
              <Button
                kind="quiet"
                onClick={() => {
                  choice.value = { ...everything, words: c.words, where: c.where };
                }}
              >
                {say('Clear these')}
              </Button>
            </div>
          )}
        </details>
      </search>
      {loaded.data?.at !== undefined && <AsOf at={loaded.data.at} again={loaded.again} />}
      {Boolean(loaded.error) && <Trouble error={loaded.error} again={loaded.again} />}
      {!all && !loaded.error && <Waiting />}
      {all?.length === 0 && <p class="muted">{say('No animal yet. Add the first one, or bring in a list.')}</p>}
      {all && all.length > 0 && shown.length === 0 && <p class="muted">{say('No animal matches.')}</p>}
      <p class={shown.length > 0 ? 'muted' : 'ear'} role="status">
        {all && all.length > 0 && say({ one: '1 animal', other: '{n} animals' }, { n: shown.length })}
      </p>
      {labels && (
        <ChooseLabels
          animals={animals}
          line={(a) => facts(speciesName(kinds.data, a.species), a.clutch, a.place)}
          done={() => setLabels(false)}
        />
      )}
      <ul class="list stock" hidden={labels}>
        {shown.map((s) => (
          <StockRow key={s.animal?.name} s={s} kinds={kinds.data} />
        ))}
      </ul>
      {!labels && all && (
        <div class="actions">
          {animals.length > 0 && (
            <Button icon="print" onClick={() => setLabels(true)}>
              {say('Labels for tubs')}
            </Button>
          )}
          <Link to="/b/cards" class="button plain">
            <Icon name="hand" />
            <span>{say('Blank cards')}</span>
          </Link>
          <Link to="/b/lists" class="button plain">
            <Icon name="list" />
            <span>{say('Lists: bring in, take out')}</span>
          </Link>
        </div>
      )}
    </main>
  );
}

function StockRow({ s, kinds }: { s: StockAnimalJson; kinds: SpeciesJson[] | undefined }): JSX.Element {
  const a = s.animal ?? {};
  const tell = s.readiness?.points?.some((p) => p.verdict === 'READY_VERDICT_TELL_BUYER');
  return (
    <li>
      <Link to={`/b/animals/${idOf(a.name)}`}>
        <strong>{a.displayName || say('No label')}</strong>
        <ReadyWord of={s} />
        {s.massG ? (
          <span>
            {formatMass(Number(s.massG))}, {ago(s.weighTime)}
          </span>
        ) : (
          !s.away && <span>{say('Not weighed')}</span>
        )}
        <span class="muted">
          {facts(
            a.place,
            speciesName(kinds, a.species),
            sexWord(a.sex),
            a.hatchDate && date(a.hatchDate),
            (a.genes ?? []).join(', '),
            a.clutch && say('clutch {clutch}', { clutch: a.clutch }),
          )}
        </span>
        {!s.away && !s.readiness?.ready && (
          <span class="why">{say('Missing: {missing}.', { missing: missing(s.readiness?.points) })}</span>
        )}
        {tell && <span class="why">{say('Tell the buyer of its head wobble.')}</span>}
      </Link>
    </li>
  );
}

export interface AnimalDraft {
  displayName: string;
  species: string;
  sex: SexJson;
  hatchDate: string;
  genes: string[];
  mother: string;
  father: string;
  clutch: string;
  place: string;
  snoutVent: string;
  total: string;
  note: string;
}

export function draftOf(a: AnimalJson): AnimalDraft {
  const mm = (v: number | string | undefined) => (Number(v ?? 0) > 0 ? String(v) : '');
  return {
    displayName: a.displayName ?? '',
    species: a.species ?? '',
    sex: a.sex ?? 'SEX_UNKNOWN',
    hatchDate: a.hatchDate ?? '',
    genes: a.genes ?? [],
    mother: a.mother ?? '',
    father: a.father ?? '',
    clutch: a.clutch ?? '',
    place: a.place ?? '',
    snoutVent: mm(a.snoutVentMm),
    total: mm(a.totalLengthMm),
    note: a.note ?? '',
  };
}

/** What the form holds as the contract wants it; throws a FormError that names the field. */
export function animalOf(d: AnimalDraft): AnimalJson {
  if (!d.species) throw new FormError('species', say('Choose the species: everything that is computed depends on it.'));
  const mm = (text: string, field: string) => {
    if (!text.trim()) return 0;
    const n = parseNumber(text);
    if (n === null || n <= 0)
      throw new FormError(field, say('Give millimetres as a number, such as 420, or leave it empty.'));
    return n;
  };
  return {
    displayName: d.displayName.trim(),
    species: d.species,
    sex: d.sex,
    hatchDate: d.hatchDate,
    genes: d.genes,
    mother: d.mother,
    father: d.father,
    clutch: d.clutch.trim(),
    place: d.place.trim(),
    snoutVentMm: mm(d.snoutVent, 'snout_vent_mm'),
    totalLengthMm: mm(d.total, 'total_length_mm'),
    note: d.note.trim(),
  };
}

export const animalFields = [
  'display_name',
  'species',
  'hatch_date',
  'genes',
  'mother',
  'father',
  'clutch',
  'place',
  'snout_vent_mm',
  'total_length_mm',
  'note',
];

/** The whole stock book, by label; for choosing parents. */
async function stock(signal: AbortSignal): Promise<AnimalJson[]> {
  const all: AnimalJson[] = [];
  let pageToken = '';
  do {
    const path = withQuery(`/v1/${breeder()}/animals`, { pageSize: 200, pageToken });
    const page = await ask<ListAnimalsResponseJson>('GET', path, undefined, { signal });
    all.push(...(page.animals ?? []));
    pageToken = page.nextPageToken ?? '';
  } while (pageToken);
  return all.sort((a, b) => (a.displayName ?? '').localeCompare(b.displayName ?? '', undefined, { numeric: true }));
}

/** Who of the stock book may be the mother or the father; who is chosen already stays in the list. */
export function mayBeParent(
  all: readonly AnimalJson[],
  child: { name?: string | undefined; species: string; hatchDate: string },
  not: SexJson,
  chosen: string,
): AnimalJson[] {
  return all.filter(
    (a) =>
      a.name === chosen ||
      (a.name !== child.name &&
        a.sex !== not &&
        (!child.species || a.species === child.species) &&
        !(child.hatchDate && a.hatchDate && a.hatchDate >= child.hatchDate)),
  );
}

/** The boxes of an animal, for adding and for changing. */
export function AnimalForm({
  name,
  draft,
  set,
  error,
}: {
  /** Of an animal that is in the stock book already. */
  name?: string | undefined;
  draft: AnimalDraft;
  set: (d: AnimalDraft) => void;
  error: unknown;
}): JSX.Element {
  const others = useLoad('stock', stock);
  const parents = (not: SexJson, chosen: string) => {
    const list = mayBeParent(others.data ?? [], { ...draft, name }, not, chosen);
    return [
      { value: '', label: others.data ? say('Not known') : say('Loading') },
      ...(chosen && !list.some((a) => a.name === chosen) ? [{ value: chosen, label: say('As it was') }] : []),
      ...list.map((a) => ({
        value: a.name ?? '',
        label: [a.displayName || say('No label'), a.hatchDate?.slice(0, 4)].filter(Boolean).join(', '),
      })),
    ];
  };
  const kinds = useLoad('species', () => speciesTable());
  const known = useLoad('genes', () => geneTable());
  const put =
    <K extends keyof AnimalDraft>(key: K) =>
    (value: AnimalDraft[K]) =>
      set({ ...draft, [key]: value });
  return (
    <>
      <Field
        label={say('Label')}
        hint={say('Yours, such as “tub 14”')}
        maxLength={80}
        value={draft.displayName}
        onInput={put('displayName')}
        error={problem(error, 'display_name')}
      />
      <Field
        label={say('Place')}
        hint={say('Where it is kept, such as “rack 2 tub 14”; for you only. Runs go by it.')}
        maxLength={80}
        value={draft.place}
        onInput={put('place')}
        error={problem(error, 'place')}
      />
      {Boolean(kinds.error) && <Trouble error={kinds.error} again={kinds.again} />}
      <Field
        label={say('Species')}
        required
        value={draft.species}
        onInput={put('species')}
        options={[
          { value: '', label: say('Choose') },
          ...(kinds.data ?? []).map((s) => ({ value: s.id ?? '', label: `${s.commonName} (${s.scientificName})` })),
        ]}
        error={problem(error, 'species')}
        hint={name && say('It stays while the animal is being followed up.')}
      />
      <fieldset class="field">
        <legend>{say('Sex')}</legend>
        <div class="choices">
          {(
            [
              ['SEX_FEMALE', say('Female')],
              ['SEX_MALE', say('Male')],
              ['SEX_UNKNOWN', say('Not known')],
            ] as const
          ).map(([value, label]) => (
            <label key={value}>
              <input
                type="radio"
                name="sex"
                checked={draft.sex === value || (value === 'SEX_UNKNOWN' && draft.sex === 'SEX_UNSPECIFIED')}
                onChange={() => put('sex')(value)}
              />
              {label}
            </label>
          ))}
        </div>
      </fieldset>
      <Field
        label={say('Hatched or born on')}
        type="date"
        max={new Date().toISOString().slice(0, 10)}
        value={draft.hatchDate}
        onInput={put('hatchDate')}
        error={problem(error, 'hatch_date')}
      />
      <Genes genes={draft.genes} set={put('genes')} known={known.data ?? []} error={problem(error, 'genes')} />
      <details open={Boolean(name)}>
        <summary>{say('Parents, clutch, length, note')}</summary>
        <div class="stack">
          {Boolean(others.error) && <Trouble error={others.error} again={others.again} />}
          <div class="row wide">
            <Field
              label={say('Mother')}
              value={draft.mother}
              onInput={put('mother')}
              options={parents('SEX_MALE', draft.mother)}
              error={problem(error, 'mother')}
            />
            <Field
              label={say('Father')}
              value={draft.father}
              onInput={put('father')}
              options={parents('SEX_FEMALE', draft.father)}
              error={problem(error, 'father')}
            />
          </div>
          <Field
            label={say('Clutch')}
            maxLength={60}
            value={draft.clutch}
            onInput={put('clutch')}
            error={problem(error, 'clutch')}
          />
          <Field
            label={say('Snout to vent')}
            unit="mm"
            inputMode="decimal"
            value={draft.snoutVent}
            onInput={put('snoutVent')}
            error={problem(error, 'snout_vent_mm')}
          />
          <Field
            label={say('Snout to tail tip')}
            unit="mm"
            inputMode="decimal"
            value={draft.total}
            onInput={put('total')}
            error={problem(error, 'total_length_mm')}
          />
          <Field
            label={say('Note')}
            hint={say('For you only; never in the record')}
            lines={2}
            maxLength={2000}
            value={draft.note}
            onInput={put('note')}
            error={problem(error, 'note')}
          />
        </div>
      </details>
    </>
  );
}

function Genes({
  genes,
  set,
  known,
  error,
}: {
  genes: string[];
  set: (genes: string[]) => void;
  known: GeneJson[];
  error: string | undefined;
}): JSX.Element {
  const [typed, setTyped] = useState('');
  const add = () => {
    const name = typed.trim();
    if (name && !genes.some((g) => g.toLowerCase() === name.toLowerCase())) set([...genes, name]);
    setTyped('');
  };
  const wobbly = genes
    .map((g) => known.find((k) => k.name?.toLowerCase() === g.toLowerCase()))
    .filter((k) => k?.wobble === 'WOBBLE_EVIDENCE_DOCUMENTED' || k?.wobble === 'WOBBLE_EVIDENCE_REPORTED');
  return (
    <fieldset class="field">
      <legend>{say('Genes')}</legend>
      {genes.length > 0 && (
        <ul class="row" aria-label={say('Chosen genes')}>
          {genes.map((g) => (
            <li key={g}>
              <button type="button" class="chip" onClick={() => set(genes.filter((x) => x !== g))}>
                <span class="ear">{say('Take out')} </span>
                {g}
                <Icon name="close" />
              </button>
            </li>
          ))}
        </ul>
      )}
      {/* Enter adds a gene and must not send the whole form. */}
      {/* biome-ignore lint/a11y/noStaticElementInteractions: only listens to what the box inside does */}
      <div
        class="row gene"
        onKeyDown={(e) => {
          if (e.key === 'Enter' && e.target instanceof HTMLInputElement) {
            e.preventDefault();
            add();
          }
        }}
      >
        <Field
          label={say('Gene')}
          labelHidden
          list="known-genes"
          maxLength={60}
          value={typed}
          onInput={setTyped}
          error={error}
          placeholder={say('Name of a gene')}
        />
        <Button icon="plus" onClick={add} disabled={!typed.trim()}>
          {say('Add gene')}
        </Button>
      </div>
      <datalist id="known-genes">
        {known.map((k) => (
          <option key={k.name} value={k.name} />
        ))}
      </datalist>
      {wobbly.map((k) => (
        <p key={k?.name} class="hint">
          {say('{name}: {note} The record will say so.', {
            name: k?.name,
            note: k?.note || say('can carry a head wobble.'),
          })}
        </p>
      ))}
    </fieldset>
  );
}

export function AddAnimalPage(): JSX.Element {
  const go = useContext(Go);
  const [draft, setDraft] = useState<AnimalDraft>(draftOf({}));
  const [mass, setMass] = useState('');
  const [sure, setSure] = useState(false);
  // The animal and its first weight are two writes; each keeps its own intent.
  const animal = useSave();
  const weight = useSave();
  const [saved, setSaved] = useState<AnimalJson>();
  const grams = mass.trim() ? parseMass(mass) : null;

  const submit = async (confirmed: boolean) => {
    let made = saved;
    if (!made) {
      const ok = await animal.run(async ({ id }) => {
        if (mass.trim() && (grams === null || grams <= 0)) {
          throw new FormError('mass_g', say('Give the weight as a number, such as 84 or 84,5, or leave it empty.'));
        }
        const answer = await ask<CreateAnimalResponseJson>(
          'POST',
          withQuery(`/v1/${breeder()}/animals`, { animalId: id, requestId: id }),
          animalOf(draft),
        );
        made = answer.animal;
      });
      if (!ok || !made) return;
      setSaved(made);
    }
    const name = made.name;
    if (grams !== null && mass.trim()) {
      const ok = await weight.run(({ id, at }) =>
        ask<CreateEntryResponseJson>('POST', withQuery(`/v1/${name}/entries`, { entryId: id }), {
          happenTime: at,
          confirmed,
          weighIn: { massG: grams },
        } satisfies EntryJson),
      );
      if (!ok) return;
    }
    go(`/b/animals/${idOf(name)}`);
  };
  const slip = reasonOf(weight.error) === 'LIKELY_SLIP';
  const massProblem = problem(animal.error, 'mass_g') ?? (slip ? undefined : problem(weight.error, 'mass_g'));
  return (
    <main class="page narrow">
      <Heading>{say('Add an animal')}</Heading>
      <form
        class="stack"
        noValidate
        onSubmit={(e) => {
          e.preventDefault();
          void submit(sure);
        }}
      >
        {saved ? (
          <Notice kind="good" live>
            <p>{say('The animal is saved. Only its weight is not yet.')}</p>
          </Notice>
        ) : (
          <AnimalForm draft={draft} set={setDraft} error={animal.error} />
        )}
        <Field
          label={say('Weight today (may stay empty)')}
          unit={settings.value.mass}
          inputMode="decimal"
          value={mass}
          onInput={(t) => {
            setMass(t);
            setSure(false);
          }}
          error={massProblem}
          hint={grams ? massInWords(grams) : undefined}
        />
        {slip && (
          <Notice kind="warn" live title={say('Is this weight right?')}>
            <p>{weight.error instanceof Error ? weight.error.message : ''}</p>
            <div class="actions">
              <Button
                onClick={() => {
                  setSure(true);
                  void submit(true);
                }}
              >
                {say('It is right, save it')}
              </Button>
            </div>
          </Notice>
        )}
        <Problem error={animal.error} shown={[...animalFields, 'mass_g']} />
        {!slip && <Problem error={weight.error} shown={['mass_g']} />}
        <div class="actions">
          <Button kind="main" type="submit" busy={animal.busy || weight.busy}>
            {saved ? say('Save the weight') : say('Save the animal')}
          </Button>
          <Link to={saved ? `/b/animals/${idOf(saved.name)}` : '/b/animals'} class="button">
            {saved ? say('Go on without it') : say('Cancel')}
          </Link>
        </div>
      </form>
    </main>
  );
}
