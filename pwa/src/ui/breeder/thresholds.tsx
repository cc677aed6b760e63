import type { JSX } from 'preact';
import { useId, useState } from 'preact/hooks';
import type {
  GetThresholdsResponseJson,
  ThresholdJson,
  ThresholdsJson,
  TryThresholdsResponseJson,
  UpdateThresholdsResponseJson,
} from '../../api/gen/warmhand/v1/breeder_service_pb';
import { say } from '../../core/say';
import { Button, Notice } from '../parts/controls';
import { Icon } from '../parts/icons';
import { Table } from '../parts/table';
import { outcomeWord } from './case';
import { DayPlot } from './dayplot';
import { problem, useLoad, useSave } from './hooks';
import { Heading, Link, Problem, Trouble, Waiting } from './nav';
import { ask, breeder, isOwner } from './session';
import { callPlot, callSize, changes, lookedAt, moved, places, rows, sayValue, slider } from './tried';

/** What a breeder may move of the thresholds, tried on the breeder's own cases before it counts. */
export function ThresholdsPage(): JSX.Element {
  const name = `${breeder()}/thresholds`;
  const [inUse, setInUse] = useState(false);
  const loaded = useLoad(name, (signal) =>
    ask<GetThresholdsResponseJson>('GET', `/v1/${breeder()}/thresholds`, undefined, { signal }),
  );
  return (
    <main class="page thresholds">
      <Heading>{say('Your own thresholds')}</Heading>
      <p>
        {say(
          'They decide when your open cases go on watch and when you are asked to step in. Move one, try it on your past cases, and then use it. Where the numbers come from is in {link}.',
          { link: <Link to="/b/tables">{say('the table of all that the program goes by')}</Link> },
        )}
      </p>
      {!loaded.data && (loaded.error ? <Trouble error={loaded.error} again={loaded.again} /> : <Waiting />)}
      {loaded.data && (
        <Form
          key={loaded.data.thresholds?.etag}
          name={name}
          all={loaded.data}
          touched={() => setInUse(false)}
          saved={(thresholds) => {
            loaded.set({ ...loaded.data, thresholds });
            setInUse(true);
          }}
          again={loaded.again}
        />
      )}
      <div role="status">
        {inUse && (
          <Notice kind="good" title={say('These are in use')}>
            <p>
              {say(
                'Your open cases are looked at anew within a few minutes, and their flags follow. Ended ones stay as they ended.',
              )}
            </p>
          </Notice>
        )}
      </div>
      {loaded.data && (
        <section class="card stack" aria-labelledby="t-fixed">
          <h2 id="t-fixed">{say('What these do not move')}</h2>
          <ul class="list">
            {loaded.data.fixed?.map((f) => (
              <li key={f}>{f}</li>
            ))}
          </ul>
        </section>
      )}
    </main>
  );
}

function Form({
  name,
  all,
  touched,
  saved,
  again,
}: {
  name: string;
  all: GetThresholdsResponseJson;
  touched: () => void;
  saved: (t: ThresholdsJson) => void;
  again: () => void;
}): JSX.Element {
  const movable = all.movable ?? [];
  const inUse = places(movable, all.thresholds?.own ?? {});
  const [at, move] = useState(inUse);
  const setAt = (to: Record<string, number>) => {
    touched();
    move(to);
  };
  const [tried, setTried] = useState<{ at: Record<string, number>; answer: TryThresholdsResponseJson }>();
  const trying = useSave();
  const saving = useSave();
  const moves = movable.some((t) => at[t.code ?? ''] !== inUse[t.code ?? '']);
  const theirs = Object.keys(changes(movable, at)).length > 0;
  const shown = movable.map((t) => `own.${t.code}`);
  const owner = isOwner();
  const fresh = tried?.at === at;
  const put = (code: string, v: number) => setAt({ ...at, [code]: v });
  return (
    <>
      <form
        class="stack"
        noValidate
        onSubmit={(e) => {
          e.preventDefault();
          saving.clear();
          void trying.run(async () => {
            const answer = await ask<TryThresholdsResponseJson>('POST', `/v1/${breeder()}/thresholds:try`, {
              thresholds: { name, own: changes(movable, at) },
            });
            setTried({ at, answer });
          });
        }}
      >
        {movable.map((t) => (
          <One
            key={t.code}
            t={t}
            value={at[t.code ?? ''] ?? 0}
            inUse={inUse[t.code ?? ''] ?? 0}
            put={put}
            error={problem(saving.error, `own.${t.code}`) ?? problem(trying.error, `own.${t.code}`)}
          />
        ))}
        <Problem error={trying.error} shown={shown} />
        <div class="actions">
          <Button kind={moves && !fresh ? 'main' : 'plain'} type="submit" busy={trying.busy}>
            {say('Try on my past cases')}
          </Button>
          {theirs && (
            <Button kind="quiet" onClick={() => setAt(places(movable, {}))}>
              {say('All as the program has them')}
            </Button>
          )}
        </div>
      </form>
      <div role="status">{tried && <Tried r={tried.answer} stale={!fresh} />}</div>
      <section class="stack" aria-label={say('Use them')}>
        <Problem error={saving.error} shown={shown} />
        {owner ? (
          <div class="actions">
            <Button
              kind={moves && fresh ? 'main' : 'plain'}
              disabled={!moves}
              busy={saving.busy}
              onClick={() =>
                void saving.run(async () => {
                  const answer = await ask<UpdateThresholdsResponseJson>('PATCH', `/v1/${breeder()}/thresholds`, {
                    name,
                    own: changes(movable, at),
                    ...(all.thresholds?.etag && { etag: all.thresholds.etag }),
                  });
                  if (answer.thresholds) saved(answer.thresholds);
                })
              }
            >
              {say('Use these')}
            </Button>
            {moves && (
              <Button kind="quiet" onClick={() => setAt(inUse)}>
                {say('Back to those in use')}
              </Button>
            )}
            {Boolean(saving.error) && (
              <Button kind="quiet" onClick={again}>
                {say('Load what is in use')}
              </Button>
            )}
          </div>
        ) : (
          <p class="muted">{say('Only the breeder can put them to use.')}</p>
        )}
      </section>
    </>
  );
}

function One({
  t,
  value,
  inUse,
  put,
  error,
}: {
  t: ThresholdJson;
  value: number;
  inUse: number;
  put: (code: string, v: number) => void;
  error: string | undefined;
}): JSX.Element {
  const id = useId();
  const s = slider(t);
  const to = (v: number) => put(s.code, Math.min(s.most, Math.max(s.least, Number(v.toFixed(6)))));
  return (
    <section class="card stack threshold" aria-labelledby={`${id}-l`}>
      <div class="row">
        <h2 id={`${id}-l`}>{t.label}</h2>
        <output class="big" for={id}>
          {sayValue(t, value)}
        </output>
      </div>
      <p id={`${id}-a`}>{t.about}</p>
      <div class="slide">
        <Button
          aria-label={say('{label}: less', { label: t.label })}
          disabled={value <= s.least}
          onClick={() => to(value - s.step)}
        >
          −
        </Button>
        <input
          id={id}
          type="range"
          min={s.least}
          max={s.most}
          step={s.step}
          value={value}
          aria-label={t.label}
          aria-valuetext={sayValue(t, value)}
          aria-describedby={`${id}-a${error ? ` ${id}-e` : ''}`}
          aria-invalid={error ? true : undefined}
          onInput={(e) => to(Number(e.currentTarget.value))}
        />
        <Button
          aria-label={say('{label}: more', { label: t.label })}
          disabled={value >= s.most}
          onClick={() => to(value + s.step)}
        >
          +
        </Button>
      </div>
      <dl class="sides">
        <div>
          <dt>{say('Less')}</dt>
          <dd>{t.less}</dd>
        </div>
        <div>
          <dt>{say('More')}</dt>
          <dd>{t.more}</dd>
        </div>
      </dl>
      {error && (
        <p class="wrong" id={`${id}-e`}>
          <Icon name="warn" />
          {error}
        </p>
      )}
      <p class="muted">
        {[
          inUse !== value && say('In use: {value}.', { value: sayValue(t, inUse) }),
          say('The program’s own: {value} ({sure}: {source}).', {
            value: sayValue(t, s.own),
            sure: t.sure,
            source: t.source,
          }),
        ]
          .filter(Boolean)
          .join(' ')}
      </p>
      {value !== s.own && (
        <div>
          <Button kind="quiet" onClick={() => put(s.code, s.own)}>
            {say('{label}as the program has it', { label: <span class="ear">{t.label}: </span> })}
          </Button>
        </div>
      )}
    </section>
  );
}

function Tried({ r, stale }: { r: TryThresholdsResponseJson; stale: boolean }): JSX.Element {
  const cases = r.cases ?? [];
  const left = (r.changed ?? 0) - cases.length;
  return (
    <section class="card stack" aria-labelledby="t-tried">
      <h2 id="t-tried">{say('What it would have been')}</h2>
      {stale && (
        <Notice kind="warn">
          <p>{say('You moved something since. Try again to see what that would have done.')}</p>
        </Notice>
      )}
      {(r.lookedAt ?? 0) > 0 && <p>{lookedAt(r)}</p>}
      <Notice>
        <p>{r.caution}</p>
      </Notice>
      {(r.lookedAt ?? 0) > 0 && (
        <>
          <Table label={say('What it would have been, as a table')} heads={['', say('In use now'), say('With these')]}>
            {rows(r).map(([what, present, proposed]) => (
              <tr key={what}>
                <th scope="row">{what}</th>
                <td>{present}</td>
                <td>{proposed}</td>
              </tr>
            ))}
          </Table>
          {(r.present?.firstCallDays ?? []).length + (r.proposed?.firstCallDays ?? []).length > 0 && (
            <Calls present={r.present?.firstCallDays ?? []} proposed={r.proposed?.firstCallDays ?? []} />
          )}
        </>
      )}
      {cases.length > 0 && (
        <>
          <h3>{say('Cases that would have gone otherwise')}</h3>
          <Table
            label={say('Cases that would have gone otherwise')}
            heads={[say('Animal'), say('How it ended'), say('Step in'), say('Watch')]}
          >
            {cases.map((c) => (
              <tr key={c.case}>
                <th scope="row">
                  <Link to={`/b/cases/${(c.case ?? '').split('/').at(-1)}`}>{c.animalName || say('no name')}</Link>
                </th>
                <td>
                  {say('{outcome}, day {days}', {
                    outcome: c.outcome && c.outcome !== 'OUTCOME_UNSPECIFIED' ? outcomeWord(c.outcome) : say('open'),
                    days: c.days ?? 0,
                  })}
                </td>
                <td>{moved(c, 'stepInDay')}</td>
                <td>{moved(c, 'watchDay')}</td>
              </tr>
            ))}
          </Table>
          {left > 0 && <p class="muted">{say('And {left} more.', { left })}</p>}
        </>
      )}
    </section>
  );
}

function Calls({ present, proposed }: { present: number[]; proposed: number[] }): JSX.Element {
  return (
    <figure class="stack">
      <figcaption>{say('Animals that you were asked to step in for, by day after the handover')}</figcaption>
      <DayPlot name="calls" size={callSize} plot={(width) => callPlot(present, proposed, width)}>
        {(p) => (
          <>
            <path class="present" d={p.present} />
            <path class="proposed" d={p.proposed} />
          </>
        )}
      </DayPlot>
      <p class="key">
        <span class="present">{say('in use now: {n}', { n: present.length })}</span>{' '}
        <span class="proposed">{say('with these: {n}', { n: proposed.length })}</span>
      </p>
    </figure>
  );
}
