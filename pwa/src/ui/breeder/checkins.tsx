import type { JSX } from 'preact';
import { useId, useState } from 'preact/hooks';
import type {
  CheckInPlanJson,
  GetCheckInPlanResponseJson,
  PlannedCheckInJson,
  UpdateCheckInPlanResponseJson,
} from '../../api/gen/warmhand/v1/breeder_service_pb';
import { listed, say } from '../../core/say';
import { Button, Field, Notice } from '../parts/controls';
import { Icon } from '../parts/icons';
import { problem, useLoad, useSave } from './hooks';
import { Heading, Problem, Trouble, Waiting } from './nav';
import { ask, breeder, isOwner } from './session';

const notAsked = -1;

/** What is asked when nothing stands in the field. */
function ours(questions: string[] | undefined): string {
  const list = questions?.map((question) => say('“{question}”', { question }));
  return list?.length
    ? say('The keeper reads it as yours. Ours: {list}', { list: listed(list, 'disjunction') })
    : say('The keeper reads it as yours. Ours depends on what the log lacks.');
}

/** When the breeder's keepers are asked how it goes. */
export default function CheckInsPage(): JSX.Element {
  const name = `${breeder()}/checkInPlan`;
  const [inUse, setInUse] = useState(false);
  const loaded = useLoad(name, (signal) =>
    ask<GetCheckInPlanResponseJson>('GET', `/v1/${name}`, undefined, { signal }),
  );
  return (
    <main class="page thresholds">
      <Heading>{say('When keepers are asked')}</Heading>
      <p>
        {say(
          'Each keeper is asked one thing at a time, and never what their log says already. Whoever does well is asked less, and nobody while an agreed step holds.',
        )}
      </p>
      {!loaded.data && (loaded.error ? <Trouble error={loaded.error} again={loaded.again} /> : <Waiting />)}
      {loaded.data && (
        <Plan
          key={loaded.data.checkInPlan?.etag}
          name={name}
          all={loaded.data}
          touched={() => setInUse(false)}
          saved={(checkInPlan) => {
            loaded.set({ ...loaded.data, checkInPlan });
            setInUse(true);
          }}
          again={loaded.again}
        />
      )}
      <div role="status">
        {inUse && (
          <Notice kind="good" title={say('This plan is in use')}>
            <p>{say('Your open cases follow within a few minutes.')}</p>
          </Notice>
        )}
      </div>
    </main>
  );
}

function Plan({
  name,
  all,
  touched,
  saved,
  again,
}: {
  name: string;
  all: GetCheckInPlanResponseJson;
  touched: () => void;
  saved: (p: CheckInPlanJson) => void;
  again: () => void;
}): JSX.Element {
  const movable = all.movable ?? [];
  const daysOf = (own: Record<string, number>) =>
    Object.fromEntries(movable.map((m) => [m.code ?? '', own[m.code ?? ''] ?? m.defaultDays ?? 0]));
  const inUse = daysOf(all.checkInPlan?.own ?? {});
  const [at, setAt] = useState(inUse);
  const wordsInUse: Record<string, string> = all.checkInPlan?.words ?? {};
  const [words, setWords] = useState(wordsInUse);
  const saving = useSave();
  const put = (code: string, days: number) => {
    touched();
    setAt({ ...at, [code]: days });
  };
  const phrase = (code: string, text: string) => {
    touched();
    setWords({ ...words, [code]: text });
  };
  const moved = movable.some(
    ({ code = '' }) => at[code] !== inUse[code] || (words[code] ?? '').trim() !== (wordsInUse[code] ?? ''),
  );
  const theirs = movable.some((m) => at[m.code ?? ''] !== m.defaultDays || words[m.code ?? '']);
  const shown = movable.flatMap((m) => [`own.${m.code}`, `words.${m.code}`]);
  return (
    <form
      class="stack"
      noValidate
      onSubmit={(e) => {
        e.preventDefault();
        void saving.run(async () => {
          const answer = await ask<UpdateCheckInPlanResponseJson>('PATCH', `/v1/${name}`, {
            name,
            own: Object.fromEntries(
              movable.filter((m) => at[m.code ?? ''] !== m.defaultDays).map((m) => [m.code, at[m.code ?? '']]),
            ),
            words: Object.fromEntries(Object.entries(words).filter(([, text]) => text.trim())),
            ...(all.checkInPlan?.etag && { etag: all.checkInPlan.etag }),
          });
          if (answer.checkInPlan) saved(answer.checkInPlan);
        });
      }}
    >
      {movable.map((m) => (
        <One
          key={m.code}
          m={m}
          days={at[m.code ?? ''] ?? 0}
          words={words[m.code ?? ''] ?? ''}
          put={put}
          phrase={phrase}
          error={problem(saving.error, `own.${m.code}`)}
          wordsError={problem(saving.error, `words.${m.code}`)}
        />
      ))}
      <Problem error={saving.error} shown={shown} />
      {isOwner() ? (
        <div class="actions">
          <Button kind={moved ? 'main' : 'plain'} type="submit" disabled={!moved} busy={saving.busy}>
            {say('Use this plan')}
          </Button>
          {theirs && (
            <Button
              kind="quiet"
              onClick={() => {
                touched();
                setAt(daysOf({}));
                setWords({});
              }}
            >
              {say('All as the program has it')}
            </Button>
          )}
          {Boolean(saving.error) && (
            <Button kind="quiet" onClick={again}>
              {say('Load what is in use')}
            </Button>
          )}
        </div>
      ) : (
        <p class="muted">{say('Only the breeder can change the plan.')}</p>
      )}
    </form>
  );
}

function One({
  m,
  days,
  words,
  put,
  phrase,
  error,
  wordsError,
}: {
  m: PlannedCheckInJson;
  days: number;
  words: string;
  put: (code: string, days: number) => void;
  phrase: (code: string, text: string) => void;
  error: string | undefined;
  wordsError: string | undefined;
}): JSX.Element {
  const id = useId();
  const { code = '', label = '', least = 1, most = 1, defaultDays = 1 } = m;
  const off = days === notAsked;
  const step = (by: number) => put(code, Math.min(most, Math.max(least, days + by)));
  return (
    <section class="card stack threshold" aria-labelledby={`${id}-l`}>
      <div class="row">
        <h2 id={`${id}-l`}>{label}</h2>
        <output class="big" aria-live="polite">
          {off ? say('not asked') : say({ one: '1 day', other: '{n} days' }, { n: days })}
        </output>
      </div>
      <p>{m.about}</p>
      <div class="row">
        <div class="row">
          <Button
            aria-label={say('{label}: fewer days', { label })}
            disabled={off || days <= least}
            onClick={() => step(-1)}
          >
            −
          </Button>
          <Button
            aria-label={say('{label}: more days', { label })}
            disabled={off || days >= most}
            onClick={() => step(1)}
          >
            +
          </Button>
        </div>
        <label class="tick">
          <input
            type="checkbox"
            checked={!off}
            aria-label={say('{label}: ask', { label })}
            onChange={(e) => put(code, e.currentTarget.checked ? defaultDays : notAsked)}
          />
          {say('Ask')}
        </label>
      </div>
      {error && (
        <p class="wrong">
          <Icon name="warn" />
          {error}
        </p>
      )}
      {!off && (
        <Field
          label={say('In your own words (may stay empty)')}
          value={words}
          onInput={(text) => phrase(code, text)}
          maxLength={160}
          error={wordsError}
          hint={ours(m.questions)}
        />
      )}
      {days !== defaultDays && (
        <p class="muted">
          {say({ one: 'The program’s own: 1 day.', other: 'The program’s own: {n} days.' }, { n: defaultDays })}
        </p>
      )}
    </section>
  );
}
