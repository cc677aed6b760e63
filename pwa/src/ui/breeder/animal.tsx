import type { ComponentChildren, JSX } from 'preact';
import { useContext, useEffect, useRef, useState } from 'preact/hooks';
import { withQuery } from '../../api/client';
import type {
  AnimalJson,
  GetAnimalResponseJson,
  GetStockAnimalResponseJson,
  StockAnimalJson,
  UpdateAnimalResponseJson,
} from '../../api/gen/warmhand/v1/animal_service_pb';
import type {
  EntryJson,
  ListEntriesResponseJson,
  OfferResultJson,
  PreyStateJson,
  ShedStageJson,
} from '../../api/gen/warmhand/v1/entry_service_pb';
import { idOf } from '../../core/ids';
import { facts, say } from '../../core/say';
import { settings } from '../../core/settings';
import { ago, date, forInput, fromInput } from '../../core/time';
import { formatMass, formatNumber, massForInput, massInWords, parseMass } from '../../core/units';
import { entryLine, preyCode, preyName, preyStates, resultWords } from '../../core/words';
import { Button, Field, Notice } from '../parts/controls';
import { Facts } from '../parts/facts';
import { AnimalForm, animalFields, animalOf, draftOf, sexWord, speciesName } from './animals';
import { Handovers, SellByCard } from './handover';
import { FormError, problem, reasonOf, useLoad, useSave } from './hooks';
import { AsOf, Go, Heading, Link, Problem, Trouble, Waiting } from './nav';
import { ReadyPoints, ReadyWord } from './ready';
import { setupPoints, signs, species as speciesTable } from './reference';
import { ask, breeder, isOwner } from './session';
import { logAsBreeder, orCopy, waiting } from './table';
import { UnsentOf } from './unsent';

interface Shown {
  animal: AnimalJson;
  /** Without network: what this device knows, and since when, ms. */
  copy?: { at: number; stock: StockAnimalJson };
}

export function AnimalPage({ id }: { id: string }): JSX.Element {
  const name = `${breeder()}/animals/${id}`;
  const loaded = useLoad(name, (signal) =>
    orCopy<Shown>(
      async () => {
        const answer = await ask<GetAnimalResponseJson>('GET', `/v1/${name}`, undefined, { signal });
        if (!answer.animal) throw new Error(say('The service sent no animal.'));
        return { animal: answer.animal };
      },
      ({ at, animals }) => {
        const stock = animals.find((s) => s.animal?.name === name);
        return stock?.animal && { animal: stock.animal, copy: { at, stock } };
      },
    ),
  );
  const [logged, setLogged] = useState(0);
  const [editing, setEditing] = useState(false);
  const { again } = loaded;
  useEffect(() => {
    addEventListener('online', again);
    return () => removeEventListener('online', again);
  }, [again]);
  // What was waiting and has gone stands in the service's log now.
  const unsent = waiting.value.filter((i) => i.animal === name).length;
  const before = useRef(unsent);
  useEffect(() => {
    if (unsent < before.current) setLogged((n) => n + 1);
    before.current = unsent;
  }, [unsent]);
  const a = loaded.data?.animal;
  const copy = loaded.data?.copy;
  if (!a) {
    return (
      <main class="page">{loaded.error ? <Trouble error={loaded.error} again={loaded.again} /> : <Waiting />}</main>
    );
  }
  return (
    <main class="page">
      {copy && <AsOf at={copy.at} again={again} />}
      <About
        a={a}
        copy={copy?.stock}
        set={(animal) => loaded.set({ animal })}
        editing={editing}
        setEditing={setEditing}
      />
      {!editing && (
        <>
          <section class="card stack" aria-labelledby="a-log">
            <h2 id="a-log">{say('Log')}</h2>
            <QuickLog animal={name} done={() => setLogged(logged + 1)} />
          </section>
          {!copy && (
            <>
              <Ready name={name} turn={logged} />
              <Handovers animal={a} />
            </>
          )}
          {copy && !copy.stock?.away && <SellByCard animal={a} />}
          <section class="stack" aria-labelledby="a-history">
            <h2 id="a-history">{say('History')}</h2>
            <UnsentOf animal={name} />
            {copy ? (
              <p class="muted">{say('The rest of its history is with the service.')}</p>
            ) : (
              <History animal={name} turn={logged} />
            )}
          </section>
          {!copy && isOwner() && <Remove a={a} />}
        </>
      )}
    </main>
  );
}

function About({
  a,
  copy,
  set,
  editing,
  setEditing,
}: {
  a: AnimalJson;
  copy?: StockAnimalJson | undefined;
  set: (a: AnimalJson) => void;
  editing: boolean;
  setEditing: (editing: boolean) => void;
}): JSX.Element {
  const kinds = useLoad('species', () => speciesTable());
  const [draft, setDraft] = useState(draftOf(a));
  const save = useSave();
  const mm = (v: number | string | undefined) => (Number(v ?? 0) > 0 ? `${formatNumber(Number(v))} mm` : undefined);
  if (editing) {
    return (
      <section class="stack">
        <Heading>{say('Change {displayName}', { displayName: a.displayName || say('the animal') })}</Heading>
        <form
          class="stack"
          noValidate
          onSubmit={(e) => {
            e.preventDefault();
            void save
              .run(async () => {
                const answer = await ask<UpdateAnimalResponseJson>(
                  'PATCH',
                  withQuery(`/v1/${a.name}`, {
                    updateMask:
                      'display_name,species,sex,hatch_date,genes,mother,father,clutch,place,snout_vent_mm,total_length_mm,note',
                  }),
                  { ...animalOf(draft), ...(a.etag && { etag: a.etag }) },
                );
                if (answer.animal) set(answer.animal);
              })
              .then((ok) => ok && setEditing(false));
          }}
        >
          <p class="muted">
            {say('A record that was issued stays as it was; what is computed from now on uses what stands here.')}
          </p>
          <AnimalForm name={a.name} draft={draft} set={setDraft} error={save.error} />
          <Problem error={save.error} shown={animalFields} />
          <div class="actions">
            <Button kind="main" type="submit" busy={save.busy}>
              {say('Save')}
            </Button>
            <Button onClick={() => setEditing(false)}>{say('Cancel')}</Button>
          </div>
        </form>
      </section>
    );
  }
  const facts: [string, ComponentChildren][] = [
    [say('Species'), speciesName(kinds.data, a.species)],
    [say('Sex'), sexWord(a.sex)],
    [say('Hatched'), a.hatchDate ? date(a.hatchDate) : say('not known')],
    [say('Genes'), (a.genes ?? []).join(', ')],
    [say('Mother'), a.mother && <Parent name={a.mother} />],
    [say('Father'), a.father && <Parent name={a.father} />],
    [say('Clutch'), a.clutch && <Link to={`/b/clutches/${encodeURIComponent(a.clutch)}`}>{a.clutch}</Link>],
    [say('Place'), a.place],
    [say('Last weight'), copy?.massG ? `${formatMass(Number(copy.massG))}, ${ago(copy.weighTime)}` : undefined],
    [say('Last offer'), copy?.lastOffer && `${entryLine(copy.lastOffer)}, ${ago(copy.lastOffer.happenTime)}`],
    [say('Last meal'), copy?.lastMeal && `${entryLine(copy.lastMeal)}, ${ago(copy.lastMeal.happenTime)}`],
    [say('Ready for sale'), copy?.readiness && <ReadyWord of={copy} />],
    [say('Snout to vent'), mm(a.snoutVentMm)],
    [say('Snout to tail tip'), mm(a.totalLengthMm)],
  ];
  return (
    <section class="stack">
      <Heading>{a.displayName || speciesName(kinds.data, a.species) || say('Animal')}</Heading>
      <Facts of={facts} />
      {a.note && <p class="muted">{a.note}</p>}
      {!copy && (
        <div class="actions">
          <Button
            onClick={() => {
              setDraft(draftOf(a));
              setEditing(true);
            }}
          >
            {say('Change')}
          </Button>
        </div>
      )}
    </section>
  );
}

/** Whether it is ready for sale, with each reason; of an animal that is away there is nothing to say. */
function Ready({ name, turn }: { name: string; turn: number }): JSX.Element | null {
  const loaded = useLoad(`${name} ${turn}`, (signal) =>
    ask<GetStockAnimalResponseJson>('GET', `/v1/${name}:stock`, undefined, { signal }),
  );
  const s = loaded.data?.animal;
  if (loaded.error) return <Trouble error={loaded.error} again={loaded.again} />;
  if (!s?.readiness) return null;
  return (
    <section class="card stack" aria-labelledby="a-ready">
      <div class="row">
        <h2 id="a-ready">{say('Ready for sale?')}</h2>
        <ReadyWord of={s} />
      </div>
      <ReadyPoints r={s.readiness} />
    </section>
  );
}

function Parent({ name }: { name: string }): JSX.Element {
  const loaded = useLoad(name, (signal) => ask<GetAnimalResponseJson>('GET', `/v1/${name}`, undefined, { signal }));
  const word =
    loaded.data?.animal?.displayName || (loaded.data ? say('No label') : loaded.error ? say('not to be found') : '…');
  return <Link to={`/b/animals/${idOf(name)}`}>{word}</Link>;
}

type Kind = 'weigh' | 'offer' | 'shed';

interface LogDraft {
  kind: Kind;
  mass: string;
  result: OfferResultJson;
  prey: string;
  preyState: PreyStateJson;
  preyMass: string;
  stage: ShedStageJson;
  complete: '' | 'yes' | 'no';
  when: string;
  note: string;
}

const empty: LogDraft = {
  kind: 'weigh',
  mass: '',
  result: 'OFFER_RESULT_UNSPECIFIED',
  prey: '',
  preyState: 'PREY_STATE_THAWED',
  preyMass: '',
  stage: 'SHED_STAGE_SHED',
  complete: '',
  when: '',
  note: '',
};

/** The draft that would make an entry again, for correcting it. */
function draftFrom(e: EntryJson): LogDraft | undefined {
  const base = { ...empty, when: e.happenTime ? forInput(new Date(e.happenTime)) : '', note: e.note ?? '' };
  if (e.weighIn) return { ...base, kind: 'weigh', mass: massForInput(Number(e.weighIn.massG)) };
  if (e.offer) {
    const g = Number(e.offer.preyG ?? 0);
    return {
      ...base,
      kind: 'offer',
      result: e.offer.result ?? 'OFFER_RESULT_UNSPECIFIED',
      prey: preyName(e.offer.prey),
      preyState: e.offer.preyState ?? 'PREY_STATE_UNSPECIFIED',
      preyMass: g > 0 ? massForInput(g) : '',
    };
  }
  if (e.shed) {
    return {
      ...base,
      kind: 'shed',
      stage: e.shed.stage ?? 'SHED_STAGE_SHED',
      complete: e.shed.complete === undefined ? '' : e.shed.complete ? 'yes' : 'no',
    };
  }
  return undefined;
}

/** The entry that a draft says; throws a FormError that names the field. */
export function entryOf(d: LogDraft, now: string): EntryJson {
  let happenTime = now;
  if (d.when) {
    const at = fromInput(d.when);
    if (!at) throw new FormError('happen_time', say('Give the day and the time, or leave it empty for now.'));
    happenTime = at.toISOString();
  }
  const base: EntryJson = { happenTime, ...(d.note.trim() && { note: d.note.trim() }) };
  switch (d.kind) {
    case 'weigh': {
      const massG = parseMass(d.mass);
      if (massG === null || massG <= 0)
        throw new FormError('mass_g', say('Give the weight as a number, such as 84 or 84,5.'));
      return { ...base, weighIn: { massG } };
    }
    case 'offer': {
      if (d.result === 'OFFER_RESULT_UNSPECIFIED') throw new FormError('result', say('Say how it went.'));
      const preyG = d.preyMass.trim() ? parseMass(d.preyMass) : 0;
      if (preyG === null) throw new FormError('prey_g', say('Give the weight as a number, or leave it empty.'));
      return { ...base, offer: { result: d.result, prey: preyCode(d.prey), preyState: d.preyState, preyG } };
    }
    case 'shed':
      return { ...base, shed: { stage: d.stage, ...(d.complete && { complete: d.complete === 'yes' }) } };
  }
}

/** A weigh-in, an offer or a shed in a few presses; with `replaces` it corrects one. */
function QuickLog({
  animal,
  done,
  replaces,
  cancel,
}: {
  animal: string;
  done: () => void;
  replaces?: EntryJson | undefined;
  cancel?: (() => void) | undefined;
}): JSX.Element {
  const [d, setDraft] = useState<LogDraft>(() => (replaces && draftFrom(replaces)) ?? empty);
  const [saved, setSaved] = useState('');
  const save = useSave();
  // Saved here without an answer: pressing again sends the same entry, changing the form begins another.
  const [kept, setKept] = useState<{ id: string; entry: EntryJson }>();
  const put =
    <K extends keyof LogDraft>(key: K) =>
    (value: LogDraft[K]) => {
      setSaved('');
      setKept(undefined);
      setDraft({ ...d, [key]: value });
    };
  const submit = async (confirmed: boolean) => {
    let unanswered = false;
    const ok = await save.run(async (intent) => {
      const id = kept?.id ?? intent.id;
      const entry: EntryJson = kept?.entry ?? {
        ...entryOf(d, intent.at),
        ...(replaces?.name && { replaces: replaces.name }),
        ...(replaces?.case && { case: replaces.case }),
        ...(confirmed && { confirmed }),
      };
      const answer = await logAsBreeder(animal, entry, { id });
      unanswered = Boolean(answer.kept);
      setKept(answer.kept && { id, entry });
      setSaved(answer.entry ? entryLine(answer.entry) : '');
    });
    if (!ok || unanswered) return;
    // What is often the same for the next animal stays: the prey, not the weight.
    setDraft({ ...empty, kind: d.kind, prey: d.prey, preyState: d.preyState, preyMass: d.preyMass });
    done();
  };
  const grams = d.mass ? parseMass(d.mass) : null;
  const slip = reasonOf(save.error) === 'LIKELY_SLIP';
  return (
    <form
      class="stack"
      noValidate
      onSubmit={(e) => {
        e.preventDefault();
        void submit(false);
      }}
    >
      {!replaces && (
        <fieldset class="tabs">
          <legend class="ear">{say('What to log')}</legend>
          {(
            [
              ['weigh', say('Weigh-in'), 'scale'],
              ['offer', say('Offer'), 'meal'],
              ['shed', say('Shed'), 'shed'],
            ] as const
          ).map(([kind, word, icon]) => (
            <Button key={kind} icon={icon} aria-pressed={d.kind === kind} onClick={() => put('kind')(kind)}>
              {word}
            </Button>
          ))}
        </fieldset>
      )}
      {d.kind === 'weigh' && (
        <Field
          label={say('Weight')}
          unit={settings.value.mass}
          inputMode="decimal"
          value={d.mass}
          onInput={put('mass')}
          hint={grams ? massInWords(grams) : undefined}
          error={slip ? undefined : problem(save.error, 'mass_g')}
        />
      )}
      {d.kind === 'offer' && (
        <>
          <fieldset class="field">
            <legend>{say('How did it go?')}</legend>
            <div class="choices">
              {(
                [
                  'OFFER_RESULT_EATEN',
                  'OFFER_RESULT_REFUSED',
                  'OFFER_RESULT_STRUCK',
                  'OFFER_RESULT_REGURGITATED',
                ] as const
              ).map((r) => (
                <label key={r}>
                  <input type="radio" name="result" checked={d.result === r} onChange={() => put('result')(r)} />
                  {resultWords[r]}
                </label>
              ))}
            </div>
            {problem(save.error, 'result') && (
              <p class="problem" role="alert">
                {problem(save.error, 'result')}
              </p>
            )}
          </fieldset>
          <div class="row wide">
            <Field
              label={say('Prey')}
              list="prey"
              maxLength={40}
              value={d.prey}
              onInput={put('prey')}
              error={problem(save.error, 'prey')}
            />
            <Field
              label={say('Offered')}
              value={d.preyState}
              onInput={(v) => put('preyState')(v as PreyStateJson)}
              options={preyStates}
            />
            <Field
              label={say('Prey weight')}
              unit={settings.value.mass}
              inputMode="decimal"
              value={d.preyMass}
              onInput={put('preyMass')}
              error={problem(save.error, 'prey_g')}
            />
          </div>
          <datalist id="prey">
            {['mouse', 'rat', 'chick', 'fish', 'lizard'].map((p) => (
              <option key={p} value={preyName(p)} />
            ))}
          </datalist>
        </>
      )}
      {d.kind === 'shed' && (
        <div class="row wide">
          <Field
            label={say('Stage')}
            value={d.stage}
            onInput={(v) => put('stage')(v as ShedStageJson)}
            options={[
              { value: 'SHED_STAGE_OPAQUE', label: say('Eyes cloudy (in blue)') },
              { value: 'SHED_STAGE_CLEAR', label: say('Eyes clear again') },
              { value: 'SHED_STAGE_SHED', label: say('Shed') },
            ]}
          />
          {d.stage === 'SHED_STAGE_SHED' && (
            <Field
              label={say('In one piece?')}
              value={d.complete}
              onInput={(v) => put('complete')(v as LogDraft['complete'])}
              options={[
                { value: '', label: say('Not known') },
                { value: 'yes', label: say('In one piece') },
                { value: 'no', label: say('In pieces') },
              ]}
            />
          )}
        </div>
      )}
      <details open={Boolean(replaces)}>
        <summary>{say('When, note')}</summary>
        <div class="stack">
          <Field
            label={say('When')}
            type="datetime-local"
            max={forInput(new Date())}
            hint={say('Empty means now')}
            value={d.when}
            onInput={put('when')}
            error={problem(save.error, 'happen_time')}
          />
          <Field
            label={say('Note')}
            lines={2}
            maxLength={1000}
            value={d.note}
            onInput={put('note')}
            error={problem(save.error, 'note')}
          />
        </div>
      </details>
      {slip && (
        <Notice kind="warn" live title={say('Is this right?')}>
          <p>{save.error instanceof Error ? save.error.message : ''}</p>
          <div class="actions">
            <Button onClick={() => void submit(true)}>{say('It is right, save it')}</Button>
          </div>
        </Notice>
      )}
      {kept && (
        <Notice kind="good" live title={say('Kept on this device')}>
          <p>{say('There is no connection to the service just now. It is sent by itself when there is one.')}</p>
        </Notice>
      )}
      {!slip && <Problem error={save.error} shown={['mass_g', 'result', 'prey', 'prey_g', 'happen_time', 'note']} />}
      <div class="actions">
        <Button kind="main" type="submit" busy={save.busy}>
          {replaces
            ? say('Save the correction')
            : d.kind === 'weigh'
              ? say('Save the weight')
              : d.kind === 'offer'
                ? say('Save the offer')
                : say('Save the shed')}
        </Button>
        {cancel && <Button onClick={cancel}>{say('Cancel')}</Button>}
        <span role="status" class="muted">
          {saved && say('Saved: {saved}', { saved })}
        </span>
      </div>
    </form>
  );
}

function History({ animal, turn }: { animal: string; turn: number }): JSX.Element {
  const loaded = useLoad(`${animal} ${turn}`, async (signal) => {
    const [page, points, signList] = await Promise.all([
      ask<ListEntriesResponseJson>('GET', withQuery(`/v1/${animal}/entries`, { pageSize: 100 }), undefined, { signal }),
      setupPoints(),
      signs(),
    ]);
    return { entries: page.entries ?? [], next: page.nextPageToken ?? '', names: { points, signs: signList } };
  });
  const [changing, setChanging] = useState('');
  const more = useSave();
  const back = useSave();
  const d = loaded.data;
  if (!d) return loaded.error ? <Trouble error={loaded.error} again={loaded.again} /> : <Waiting />;
  const done = () => {
    setChanging('');
    loaded.again();
  };
  const rows = d.entries.filter((e) => !e.seen);
  return (
    <>
      {rows.length === 0 && <p class="muted">{say('Nothing logged yet.')}</p>}
      <ul class="list history">
        {rows.map((e) => (
          <li key={e.name} class={e.replacedBy ? 'replaced' : undefined}>
            <div class="row">
              <div>
                <p>{e.replacedBy ? <del>{entryLine(e, d.names)}</del> : entryLine(e, d.names)}</p>
                <p class="muted">
                  {facts(
                    ago(e.happenTime),
                    e.by === 'ACTOR_KIND_KEEPER' && say('by the keeper'),
                    e.replaces && !e.withdrawal && say('a correction'),
                    e.replacedBy && say('corrected since'),
                    e.note,
                  )}
                </p>
              </div>
              {!e.replacedBy && e.by !== 'ACTOR_KIND_KEEPER' && draftFrom(e) && changing !== e.name && (
                <div class="row end">
                  <Button
                    kind="quiet"
                    aria-label={say('Correct: {entry}', { entry: entryLine(e, d.names) })}
                    onClick={() => setChanging(e.name ?? '')}
                  >
                    {say('Correct')}
                  </Button>
                </div>
              )}
            </div>
            {changing === e.name && (
              <div class="card stack">
                <QuickLog animal={animal} replaces={e} done={done} cancel={() => setChanging('')} />
                <Problem error={back.error} />
                <div class="actions">
                  <Button
                    kind="danger"
                    busy={back.busy}
                    onClick={() => {
                      void back
                        .run(({ id, at }) =>
                          logAsBreeder(
                            animal,
                            {
                              happenTime: at,
                              ...(e.name && { replaces: e.name }),
                              ...(e.case && { case: e.case }),
                              withdrawal: {},
                            },
                            { id },
                          ),
                        )
                        .then((ok) => ok && done());
                    }}
                  >
                    {say('Take this entry back')}
                  </Button>
                </div>
              </div>
            )}
          </li>
        ))}
      </ul>
      <Problem error={more.error} />
      {d.next && (
        <div class="actions">
          <Button
            busy={more.busy}
            onClick={() => {
              void more.run(async () => {
                const page = await ask<ListEntriesResponseJson>(
                  'GET',
                  withQuery(`/v1/${animal}/entries`, { pageSize: 100, pageToken: d.next }),
                );
                loaded.set({ ...d, entries: [...d.entries, ...(page.entries ?? [])], next: page.nextPageToken ?? '' });
              });
            }}
          >
            {say('Show older')}
          </Button>
        </div>
      )}
    </>
  );
}

function Remove({ a }: { a: AnimalJson }): JSX.Element {
  const go = useContext(Go);
  const save = useSave();
  return (
    <details>
      <summary>{say('Take it out of the stock book')}</summary>
      <div class="stack">
        <p>
          {say('Its log and its handovers stay on record. An animal that is being followed up cannot be taken out.')}
        </p>
        <Problem error={save.error} />
        <div class="actions">
          <Button
            kind="danger"
            busy={save.busy}
            onClick={() => {
              void save
                .run(({ id }) => ask('DELETE', withQuery(`/v1/${a.name}`, { requestId: id })))
                .then((ok) => ok && go('/b/animals'));
            }}
          >
            {say('Take out {displayName}', { displayName: a.displayName || idOf(a.name) })}
          </Button>
          <Link to="/b/animals" class="button">
            {say('Back to the stock book')}
          </Link>
        </div>
      </div>
    </details>
  );
}
