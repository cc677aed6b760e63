// An animal comes home: asked, agreed, on its way, arrived; then its quarantine.

import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import type { CaseJson } from '../../api/gen/warmhand/v1/case_service_pb';
import type { EntryJson } from '../../api/gen/warmhand/v1/entry_service_pb';
import { say } from '../../core/say';
import { settings } from '../../core/settings';
import { ago, day } from '../../core/time';
import { formatMass, parseMass } from '../../core/units';
import { Button, Field, Notice } from '../parts/controls';
import { Stages } from '../parts/stages';
import { morning } from './aside';
import { FormError, problem, useSave } from './hooks';
import { Problem } from './nav';
import { ask } from './session';

interface Props {
  c: CaseJson;
  entries: readonly EntryJson[];
  again: () => void;
}

/** While the keeper wants to give it back. */
export function Homecoming({ c, entries, again }: Props): JSX.Element {
  const [change, setChange] = useState(false);
  return (
    <Notice
      kind="warn"
      live
      title={say('{keeperName} wants to give it back', { keeperName: c.keeperName || say('The keeper') })}
    >
      <Stages c={c} />
      {!c.returnAgreeTime || change ? (
        <Agree
          c={c}
          again={() => {
            setChange(false);
            again();
          }}
        />
      ) : (
        <>
          <p class="text">{c.returnHow}</p>
          {!c.returnLeaveTime && <OnItsWay c={c} again={again} change={() => setChange(true)} />}
        </>
      )}
      <details>
        <summary>{say('It has arrived')}</summary>
        <Arrive c={c} entries={entries} again={again} />
      </details>
    </Notice>
  );
}

function Agree({ c, again }: { c: CaseJson; again: () => void }): JSX.Element {
  const [how, setHow] = useState(c.returnHow ?? '');
  const save = useSave();
  return (
    <form
      class="stack"
      onSubmit={(e) => {
        e.preventDefault();
        void save.run(() => ask('POST', `/v1/${c.name}:agreeReturn`, { how: how.trim() })).then((ok) => ok && again());
      }}
    >
      <Field
        label={say('When and how does it travel?')}
        lines={2}
        maxLength={500}
        value={how}
        onInput={setHow}
        error={problem(save.error, 'how')}
        hint={say('Both of you read this. It is erased when the animal has arrived.')}
      />
      <Problem error={save.error} shown={['how']} />
      <div class="actions">
        <Button kind="main" type="submit" busy={save.busy}>
          {say('Agree on this')}
        </Button>
      </div>
    </form>
  );
}

function OnItsWay({ c, again, change }: { c: CaseJson; again: () => void; change: () => void }): JSX.Element {
  const save = useSave();
  return (
    <>
      <Problem error={save.error} />
      <div class="actions">
        <Button
          busy={save.busy}
          onClick={() => void save.run(() => ask('POST', `/v1/${c.name}:sendReturn`, {})).then((ok) => ok && again())}
        >
          {say('It is on its way')}
        </Button>
        <Button kind="quiet" onClick={change}>
          {say('Change what is agreed')}
        </Button>
      </div>
    </>
  );
}

const quarantines = [30, 60, 90];

/** What is often learned from an animal that comes back, by the service's codes. */
export const lessons: readonly { code: string; label: string }[] = [
  { code: 'warmth', label: say('It was too cool or too warm') },
  { code: 'hides', label: say('It had too little to hide in') },
  { code: 'handling', label: say('It was handled much, or early') },
  { code: 'food', label: say('The food was not what it knew') },
  { code: 'pauses', label: say('Food was offered again too soon') },
  { code: 'enclosure', label: say('Something in its home was not safe') },
  { code: 'illness', label: say('It was ill') },
  { code: 'circumstances', label: say('Things changed for the keeper') },
  { code: 'late', label: say('We heard of it too late') },
];

/** The form by which a case ends as returned. */
export function Arrive({ c, entries, again }: Props): JSX.Element {
  const [mass, setMass] = useState('');
  const [days, setDays] = useState('30');
  const [place, setPlace] = useState('');
  const [found, setFound] = useState<readonly string[]>([]);
  const [learned, setLearned] = useState('');
  const save = useSave();
  const before = lastWeight(entries, 'keeper');
  return (
    <form
      class="stack"
      onSubmit={(e) => {
        e.preventDefault();
        void save
          .run(({ id }) => {
            const massG = mass.trim() ? parseMass(mass) : 0;
            if (massG === null) throw new FormError('mass_g', say('Write the weight as a number, or leave it empty.'));
            return ask('POST', `/v1/${c.name}:arriveReturn`, {
              massG,
              ...(days !== '0' && { quarantineTime: morning(Number(days)).toISOString() }),
              place: place.trim(),
              lessons: found,
              learned: learned.trim(),
              requestId: id,
            });
          })
          .then((ok) => ok && again());
      }}
    >
      <Field
        label={say('Weight on arrival (may stay empty)')}
        unit={settings.value.mass}
        inputMode="decimal"
        value={mass}
        onInput={setMass}
        error={problem(save.error, 'mass_g', 'weigh_in.mass_g')}
        hint={
          before &&
          say('{mass} with the keeper, {ago}.', {
            mass: formatMass(Number(before.weighIn?.massG ?? 0)),
            ago: ago(before.happenTime),
          })
        }
      />
      <Field
        label={say('Quarantine')}
        value={days}
        onInput={setDays}
        options={[
          ...quarantines.map((n) => ({ value: String(n), label: say({ one: '1 day', other: '{n} days' }, { n }) })),
          { value: '0', label: say('none') },
        ]}
        hint={say('Many keep it apart for 30 days at least, better 60 to 90. Common practice, no source.')}
      />
      <Field
        label={say('Where is it now? (may stay empty)')}
        value={place}
        onInput={setPlace}
        maxLength={80}
        error={problem(save.error, 'place')}
        hint={say('Goes into the stock book.')}
      />
      <fieldset>
        <legend>
          <strong>{say('What did you learn? Tick what fits.')}</strong>
        </legend>
        {lessons.map(({ code, label }) => (
          <label key={code}>
            <input
              type="checkbox"
              checked={found.includes(code)}
              onChange={(e) =>
                setFound(e.currentTarget.checked ? [...found, code] : found.filter((other) => other !== code))
              }
            />
            {label}
          </label>
        ))}
      </fieldset>
      <Field
        label={say('In your words (may stay empty)')}
        lines={3}
        maxLength={1000}
        value={learned}
        onInput={setLearned}
        error={problem(save.error, 'learned')}
        hint={say(
          'What would have helped sooner? Both stand with the outcome, and the keeper can read them. What you tick is counted under “What your sales show”.',
        )}
      />
      <Problem error={save.error} shown={['mass_g', 'weigh_in.mass_g', 'place', 'learned']} />
      <div class="actions">
        <Button kind="main" type="submit" busy={save.busy}>
          {say('It is here')}
        </Button>
      </div>
    </form>
  );
}

function lastWeight(entries: readonly EntryJson[], by: 'keeper' | 'breeder'): EntryJson | undefined {
  return entries
    .filter((e) => e.weighIn && !e.replacedBy && e.case && (e.by === 'ACTOR_KIND_KEEPER') === (by === 'keeper'))
    .sort((a, b) => Date.parse(b.happenTime ?? '') - Date.parse(a.happenTime ?? ''))[0];
}

/** After it came home: the weights side by side, what was learned, and the quarantine. */
export function CameHome({ c, entries, again }: Props): JSX.Element | null {
  const save = useSave();
  const before = lastWeight(entries, 'keeper');
  const after = lastWeight(entries, 'breeder');
  const grams = (e: EntryJson | undefined) => Number(e?.weighIn?.massG ?? 0);
  const end = entries.find((e) => e.ended?.outcome === 'OUTCOME_RETURNED' && !e.ended.reopened);
  const learned = lessons.filter(({ code }) => end?.ended?.lessons?.includes(code));
  const inside = Boolean(c.quarantineTime) && Date.parse(c.quarantineTime ?? '') > Date.now();
  if (c.outcome !== 'OUTCOME_RETURNED') return null;
  return (
    <section class="card stack" aria-labelledby="c-home">
      <h2 id="c-home">{say('Home again')}</h2>
      {before && (
        <p>
          {after && Date.parse(after.happenTime ?? '') >= Date.parse(before.happenTime ?? '')
            ? say('{mass} with the keeper, {day}; {arrived} on arrival, {dayArrived}.', {
                mass: formatMass(grams(before)),
                day: day(before.happenTime ?? ''),
                arrived: formatMass(grams(after)),
                dayArrived: day(after.happenTime ?? ''),
              })
            : say('{mass} with the keeper, {day}; not weighed on arrival.', {
                mass: formatMass(grams(before)),
                day: day(before.happenTime ?? ''),
              })}
        </p>
      )}
      {(learned.length > 0 || end?.note) && <h3>{say('What was learned')}</h3>}
      {learned.length > 0 && (
        <ul>
          {learned.map(({ code, label }) => (
            <li key={code}>{label}</li>
          ))}
        </ul>
      )}
      {end?.note && <p class="text">{end.note}</p>}
      {inside && (
        <>
          <p>
            {say('In quarantine until {day}. Until then the stock book does not call it ready for sale.', {
              day: day(c.quarantineTime ?? ''),
            })}
          </p>
          <Problem error={save.error} />
          <div class="actions">
            <Button
              busy={save.busy}
              onClick={() =>
                void save.run(() => ask('POST', `/v1/${c.name}:endQuarantine`, {})).then((ok) => ok && again())
              }
            >
              {say('Out of quarantine')}
            </Button>
          </div>
        </>
      )}
    </section>
  );
}
