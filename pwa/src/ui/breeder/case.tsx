import type { ComponentChildren, JSX } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import { withQuery } from '../../api/client';
import type { CreateKeeperCodeResponseJson, KeeperCodeJson } from '../../api/gen/warmhand/v1/access_service_pb';
import type {
  AssessmentJson,
  CaseJson,
  CourseJson,
  EndCaseResponseJson,
  FlagJson,
  GetCaseResponseJson,
  GetCourseResponseJson,
  ListFlagsResponseJson,
  ListPhotosResponseJson,
  MarkCaseSeenResponseJson,
  PhotoJson,
  ReasonJson,
  ReopenCaseResponseJson,
  StepJson,
} from '../../api/gen/warmhand/v1/case_service_pb';
import type {
  CreateEntryResponseJson,
  EntryJson,
  ListEntriesResponseJson,
  OutcomeJson,
  SetupAnswerJson,
} from '../../api/gen/warmhand/v1/entry_service_pb';
import type { SetupPointJson, SignInfoJson } from '../../api/gen/warmhand/v1/reference_service_pb';
import { byLetters, idOf, uuidv7 } from '../../core/ids';
import { factsOf, fill, openPlaces } from '../../core/phrases';
import { facts, say, within } from '../../core/say';

import { ago, day, daysSince } from '../../core/time';
import { formatMass, formatNumber } from '../../core/units';
import { entryLine, standingWord } from '../../core/words';
import { writeDraft } from '../../store/db';
import { KeeperCode } from '../parts/code';
import { Button, Field, Notice } from '../parts/controls';
import { Icon } from '../parts/icons';
import { Pictures } from '../parts/pictures';
import { Standing } from '../parts/standing';
import { type MessageDraft, Thread } from '../parts/thread';
import { TimeLine } from '../parts/timeline';
import { VetLetter } from '../parts/vetletter';
import { asking, IsAside, LookedAfter } from './aside';
import { animalName, isAside, lastChange, loadPhrases, phrases, seen } from './cases';
import { FormError, problem, useLoad, useSave } from './hooks';
import { Heading, Link, Problem, Trouble, Waiting } from './nav';
import { setupPoints, signs } from './reference';
import { Arrive, CameHome, Homecoming } from './return';
import { ask, askForPdf, draftPrefix, me } from './session';
import { logAsBreeder, waiting } from './table';
import { WhatIf } from './whatif';

interface Everything {
  c: CaseJson;
  course: CourseJson;
  flags: FlagJson[];
  photos: PhotoJson[];
  entries: EntryJson[];
  points: SetupPointJson[];
  signs: SignInfoJson[];
}

async function loadEntries(c: CaseJson, signal: AbortSignal): Promise<EntryJson[]> {
  const all: EntryJson[] = [];
  let token = '';
  do {
    const page = await ask<ListEntriesResponseJson>(
      'GET',
      withQuery(`/v1/${c.animal?.name}/entries`, { case: c.name, pageSize: 500, pageToken: token }),
      undefined,
      { signal },
    );
    all.push(...(page.entries ?? []));
    token = page.nextPageToken ?? '';
  } while (token);
  return all;
}

async function loadAll(name: string, signal: AbortSignal): Promise<Everything> {
  const get = <T,>(path: string) => ask<T>('GET', path, undefined, { signal });
  const [{ case: c }, { course }, { flags }, { photos }, points, signList] = await Promise.all([
    get<GetCaseResponseJson>(`/v1/${name}`),
    get<GetCourseResponseJson>(`/v1/${name}/course`),
    get<ListFlagsResponseJson>(`/v1/${name}/flags`),
    get<ListPhotosResponseJson>(`/v1/${name}/photos`),
    setupPoints(),
    signs(),
  ]);
  if (!c) throw new Error(say('The service sent no case.'));
  return {
    c,
    course: course ?? {},
    flags: flags ?? [],
    photos: photos ?? [],
    entries: await loadEntries(c, signal),
    points,
    signs: signList,
  };
}

/** Which of a setup's points has which answer now: for each point the latest that was not corrected. */
export function latestAnswers(entries: readonly EntryJson[]): { answer: SetupAnswerJson; at: string }[] {
  const latest = new Map<string, { answer: SetupAnswerJson; at: string }>();
  const inOrder = entries.filter((e) => e.setup && !e.replacedBy).sort((a, b) => byLetters(a.happenTime, b.happenTime));
  for (const e of inOrder) {
    for (const answer of e.setup?.answers ?? []) {
      latest.set(answer.point ?? '', { answer, at: e.happenTime ?? '' });
    }
  }
  return [...latest.values()];
}

/** The keeper's newest message, as long as nobody has answered by a message or a step. */
export function unanswered(entries: readonly EntryJson[]): EntryJson | undefined {
  const newest = entries
    .filter((e) => (e.message || e.step) && !e.replacedBy)
    .sort((a, b) => Date.parse(b.happenTime ?? '') - Date.parse(a.happenTime ?? ''))[0];
  return newest?.message && newest.by === 'ACTOR_KIND_KEEPER' ? newest : undefined;
}

export function CasePage({ name, next = '' }: { name: string; next?: string }): JSX.Element {
  const loaded = useLoad(name, (signal) => loadAll(name, signal));
  const data = loaded.data;

  // Its own live changes: read anew, without moving anything under the reader.
  const changed = lastChange.value;
  const handled = useRef(changed);
  useEffect(() => {
    if (changed === handled.current) return;
    handled.current = changed;
    if (changed && (changed.name === name || changed.what === 'resync') && changed.what !== 'seen') loaded.again();
  }, [changed, name, loaded.again]);

  // Opening it is looking at it, as it stands at that moment.
  const stands = data ? `${data.c.name} ${data.c.changeTime} ${data.c.lastHeardTime} ${data.c.assessTime}` : '';
  // Once for each state that was shown.
  useEffect(() => {
    if (!stands || !(data?.c.news || !data?.c.seenTime)) return;
    ask<MarkCaseSeenResponseJson>('POST', `/v1/${name}:markSeen`, {}).then(
      (answer) => answer.case && seen(answer.case),
      () => undefined, // it stays news, and is marked at the next look
    );
  }, [stands, name]);

  if (!data) return loaded.error ? <Trouble error={loaded.error} again={loaded.again} /> : <Waiting />;
  return (
    <>
      {Boolean(loaded.error) && <Trouble error={loaded.error} again={loaded.again} />}
      <Case d={data} next={next} again={loaded.again} />
    </>
  );
}

function Section({
  id,
  title,
  children,
}: {
  id: string;
  title: ComponentChildren;
  children: ComponentChildren;
}): JSX.Element {
  return (
    <section class="card stack" aria-labelledby={id}>
      <h2 id={id}>{title}</h2>
      {children}
    </section>
  );
}

/** The sections of the page in one row that stays at the top: on a phone the page is long. */
function Jump({ page }: { page: { current: HTMLElement | null } }): JSX.Element {
  const [places, setPlaces] = useState<{ id: string; title: string }[]>([]);
  useEffect(() => {
    const found = [...(page.current?.querySelectorAll('section > h2[id]') ?? [])].map((h) => ({
      id: h.id,
      title: h.textContent ?? '',
    }));
    setPlaces((was) => (JSON.stringify(was) === JSON.stringify(found) ? was : found));
  });
  return (
    <nav class="jump scroll" aria-label={say('On this page')}>
      <ul>
        {places.map((x) => (
          <li key={x.id}>
            <a
              href={`#${x.id}`}
              onClick={(e) => {
                e.preventDefault();
                const heading = document.getElementById(x.id);
                heading?.setAttribute('tabindex', '-1');
                heading?.focus({ preventScroll: true });
                heading?.scrollIntoView({ block: 'start' });
              }}
            >
              {x.title}
            </a>
          </li>
        ))}
      </ul>
    </nav>
  );
}

function Case({ d, next, again }: { d: Everything; next: string; again: () => void }): JSX.Element {
  const { c, course } = d;
  const a = c.assessment;
  const names = { points: d.points, signs: d.signs };
  const keeper = c.keeperLeft
    ? say('a keeper who has left')
    : c.claimed
      ? c.keeperName || say('a keeper without a name')
      : '';
  const asked = c.endTime ? undefined : unanswered(d.entries);
  const thread = useRef<HTMLDivElement>(null);
  const page = useRef<HTMLElement>(null);
  return (
    <article class="case-page stack" ref={page}>
      <div class="back">
        <Link to="/b" class="button quiet">
          <Icon name="back" />
          <span>{say('List')}</span>
        </Link>
      </div>
      <header class="stack">
        <div class="row">
          <Heading>{animalName(c)}</Heading>
          <Standing standing={c.standing} big />
        </div>
        <p class="muted">
          {facts(
            c.commonName,
            keeper ? say('with {keeper}', { keeper }) : say('not claimed yet'),
            say('handed over {ago}', { ago: ago(c.handoverTime) }),
            a && !c.endTime && say('day {n}', { n: a.day ?? 0 }),
            c.lastHeardTime ? say('last heard {ago}', { ago: ago(c.lastHeardTime) }) : say('nothing heard yet'),
          )}{' '}
          {c.passedOn && (
            <>
              {say('Passed on by {link}.', {
                link: <Link to={`/b/cases/${idOf(c.earlierCase)}`}>{say('an earlier keeper')}</Link>,
              })}{' '}
            </>
          )}
          <Link to={`/b/animals/${idOf(c.animal?.name)}`}>{say('Its page in the stock book')}</Link>
        </p>
        {c.headline && <p class="headline">{c.headline}</p>}
        <LookedAfter c={c} again={again} />
      </header>
      <Jump page={page} />

      <IsAside c={c} again={again} />

      {c.endTime && <Ended c={c} again={again} />}
      {c.giveBackTime && <Homecoming c={c} entries={d.entries} again={again} />}
      {c.outcome === 'OUTCOME_RETURNED' && <CameHome c={c} entries={d.entries} again={again} />}

      {asked && (
        <Section
          id="c-asked"
          title={say('{keeperName} wrote {ago}', {
            keeperName: c.keeperName || say('The keeper'),
            ago: ago(asked.happenTime),
          })}
        >
          <p class="text">{asked.message?.text}</p>
        </Section>
      )}

      {a && <Numbers a={a} />}

      <Section id="c-line" title={say('How it went')}>
        <TimeLine course={course} names={names} />
      </Section>

      {a && <Why a={a} d={d} />}

      {a && (a.causes ?? []).length > 0 && (
        <Section id="c-causes" title={say('What would explain it')}>
          <ul class="bars">
            {a.causes?.map((cause) => (
              <li key={cause.code}>
                <span>{cause.text}</span>
                <span class="share" aria-hidden="true">
                  <span style={{ width: `${Math.min(100, Number(cause.share ?? 0) * 100)}%` }} />
                </span>
                <span class="number">{percent(Number(cause.share ?? 0))}</span>
              </li>
            ))}
          </ul>
          <p class="muted">{say('Shares of one, from what was logged. Not a diagnosis.')}</p>
        </Section>
      )}

      {a && !c.endTime && <Next a={a} d={d} again={again} />}

      {(course.lookBacks ?? []).length > 0 && (
        <Section id="c-back" title={say('Did it help?')}>
          <ul class="list">
            {course.lookBacks?.map((l) => {
              const agreed = byName(d.entries, l.entry);
              return (
                <li key={l.entry}>
                  <p>
                    <strong>{agreed ? entryLine(agreed, names) : say('Agreed: {step}', { step: l.step })}</strong>
                    <span class="muted"> {ago(l.agreeTime)}</span>
                  </p>
                  <p>{l.text}</p>
                </li>
              );
            })}
          </ul>
        </Section>
      )}

      {a && !c.endTime && <WhatIf c={c} />}

      {(a?.checkIns ?? []).length > 0 && (
        <Section id="c-ahead" title={say('What the keeper is asked next')}>
          <ul class="list">
            {a?.checkIns?.map((k, i) => (
              <li key={k.id}>
                <span class="muted">
                  {i === 0 && daysSince(k.dueTime ?? '') >= 0 ? say('now') : day(k.dueTime ?? '')}
                </span>{' '}
                {k.own ? `“${k.question}”` : k.question}
              </li>
            ))}
          </ul>
          <p class="muted">
            {say('One thing at a time, and nothing that is written down by then. When you ask is up to you: {link}.', {
              link: <Link to="/b/checkins">{say('your plan')}</Link>,
            })}
          </p>
        </Section>
      )}

      {a?.missing && (
        <Notice title={say('What would tell most')}>
          <p>{a.missing}</p>
        </Notice>
      )}

      {a && (a.keeperSees || a.keeperDo) && (
        <Section id="c-keeper" title={say('What the keeper reads')}>
          <dl class="said">
            {(
              [
                [say('What we see'), a.keeperSees],
                [say('What it most likely is'), a.keeperMeans],
                [say('The one thing to do now'), a.keeperDo],
                [say('When to worry'), a.keeperWorry],
              ] as const
            ).map(
              ([title, text]) =>
                text && (
                  <div key={title}>
                    <dt>{title}</dt>
                    <dd>{text}</dd>
                  </div>
                ),
            )}
          </dl>
        </Section>
      )}

      <Section id="c-thread" title={keeper ? say('Messages with {keeper}', { keeper }) : say('Messages')}>
        <div ref={thread}>
          <Messages d={d} again={again} />
        </div>
      </Section>

      <Section id="c-setup" title={say('Setup')}>
        <Setup d={d} />
      </Section>

      <Section id="c-signs" title={say('Signs and readings')}>
        <Readings d={d} />
      </Section>

      <Section id="c-photos" title={say('Photos')}>
        <Photos photos={d.photos} />
      </Section>

      <Section id="c-flags" title={say('Flags')}>
        <Flags flags={d.flags} />
      </Section>

      {c.claimed && (
        <Section id="c-vet" title={say('A letter for the vet')}>
          <VetLetter
            fetch={(body) => askForPdf('POST', `/v1/${c.name}/vet-letter.pdf`, body)}
            links={{ name: c.name ?? '', send: ask }}
          />
        </Section>
      )}
      {c.claimed && !c.keeperLeft && <LetIn c={c} />}
      {!c.endTime && !c.giveBackTime && <CameBack c={c} entries={d.entries} again={again} />}
      {!c.endTime && <End c={c} again={again} />}
      <div class="work">
        {!c.endTime && !c.keeperLeft && (
          <Button
            kind={c.turn === 'TURN_BREEDER' ? 'main' : 'plain'}
            icon="message"
            onClick={() => thread.current?.querySelector('textarea')?.focus()}
          >
            {asked ? say('Answer') : say('Write')}
          </Button>
        )}
        {!c.endTime && !isAside(c, new Date()) && (
          <Button
            icon="clock"
            onClick={() => {
              asking.value = c;
            }}
          >
            {say('Set it aside')}
          </Button>
        )}
        {next && (
          <Link to={next} class="button">
            <Icon name="next" />
            <span>{say('Next')}</span>
          </Link>
        )}
      </div>
    </article>
  );
}

function byName(entries: readonly EntryJson[], id: string | undefined): EntryJson | undefined {
  return entries.find((e) => idOf(e.name) === id);
}

/** Always there to be agreed on, whatever is suggested. */
const inPeace: StepJson = {
  code: 'leave_in_peace',
  text: say('Leave it in peace: no handling and no offers.'),
  holdsDays: 5,
};

function days(n: number): string {
  return say({ one: '1 day', other: '{n} days' }, { n });
}

function percent(share: number): string {
  return `${formatNumber(share * 100, share > 0 && share < 0.1 ? 1 : 0)} %`;
}

function Numbers({ a }: { a: AssessmentJson }): JSX.Element {
  const loss = Number(a.lossPct ?? 0);
  // Without a weight nothing is known, not even the interval.
  const weighed = Number(a.lossPctLow ?? 0) !== Number(a.lossPctHigh ?? 0);
  const n = (v: number | string | undefined, d = 1) => formatNumber(Number(v ?? 0), d);
  return (
    <dl class="facts card">
      <div>
        <dt>{say('Since the last meal')}</dt>
        <dd>{(a.fastDays ?? -1) < 0 ? say('no meal on record') : days(a.fastDays ?? 0)}</dd>
      </div>
      <div>
        <dt>{!weighed ? say('Weight') : loss < 0 ? say('Heavier by') : say('Lighter by')}</dt>
        <dd>
          {weighed ? `${n(Math.abs(loss))} % ` : say('not weighed')}
          {weighed && (
            <span class="muted range">
              {loss < 0
                ? say('{low} to {high}', { low: n(-Number(a.lossPctHigh ?? 0)), high: n(-Number(a.lossPctLow ?? 0)) })
                : say('{low} to {high}', { low: n(a.lossPctLow), high: n(a.lossPctHigh) })}
            </span>
          )}
        </dd>
      </div>
      <div>
        <dt>{say('Without food, 10 % lighter in')}</dt>
        <dd>{Number(a.daysToTenPct ?? -1) < 0 ? say('not losing') : days(Math.round(Number(a.daysToTenPct)))}</dd>
      </div>
      <div>
        <dt>{say('Lasting refusal')}</dt>
        <dd>{percent(Number(a.pRefusal ?? 0))}</dd>
      </div>
      <div>
        <dt>{say('Off feed for now')}</dt>
        <dd>{percent(Number(a.pOffFeed ?? 0))}</dd>
      </div>
    </dl>
  );
}

/** The reasons as bars from the middle: to the right what speaks for trouble, to the left what speaks against it. */
function Why({ a, d }: { a: AssessmentJson; d: Everything }): JSX.Element {
  const reasons = a.reasons ?? [];
  const weight = (r: ReasonJson) => Number(r.weight ?? 0);
  const total = Number(a.logOdds ?? 0);
  const most = Math.max(1, Math.abs(total), ...reasons.map((r) => Math.abs(weight(r))));
  const sign = (w: number) => `${w < 0 ? '−' : '+'}${formatNumber(Math.abs(w), 1)}`;
  const bar = (w: number) => (
    <span class="weigh" aria-hidden="true">
      <span
        class={w < 0 ? 'against' : 'for'}
        style={{ width: `${(Math.abs(w) / most) * 50}%`, [w < 0 ? 'right' : 'left']: '50%' }}
      />
    </span>
  );
  const byId = new Map([...(d.course.entries ?? []), ...d.entries].map((e) => [idOf(e.name), e]));
  return (
    <Section id="c-why" title={say('Why')}>
      {reasons.length === 0 && (a.concerns ?? []).length === 0 && (
        <p class="muted">{say('Nothing out of the ordinary was logged.')}</p>
      )}
      {(a.concerns ?? []).length > 0 && (
        <ul class="list">
          {a.concerns?.map((k) => (
            <li key={k.code} class="row">
              <Standing standing={k.level} />
              <span>{k.text}</span>
            </li>
          ))}
        </ul>
      )}
      {reasons.length > 0 && (
        <>
          <h3>{say('Is it a lasting refusal?')}</h3>
          <ul class="bars reasons">
            {reasons.map((r) => {
              const shown = (r.evidence ?? []).map((id) => byId.get(id)).filter((e) => e !== undefined);
              return (
                <li key={r.code}>
                  <span>
                    {r.text}
                    {shown.length > 0 && (
                      <details>
                        <summary>
                          {say({ one: 'From {n} entry', other: 'From {n} entries' }, { n: shown.length })}
                        </summary>
                        <ul class="muted">
                          {shown.map((e) => (
                            <li key={e.name}>
                              {day(e.happenTime ?? '')}: {entryLine(e, { points: d.points, signs: d.signs })}
                            </li>
                          ))}
                        </ul>
                      </details>
                    )}
                  </span>
                  {bar(weight(r))}
                  <span class="number">
                    {sign(weight(r))} <span class="ear">{weight(r) < 0 ? say('against') : say('for')}</span>
                  </span>
                </li>
              );
            })}
            <li class="total">
              <span>{say('All together: {percent}', { percent: percent(Number(a.pRefusal ?? 0)) })}</span>
              {bar(total)}
              <span class="number">{sign(total)}</span>
            </li>
          </ul>
          <p class="muted">
            {say('Left speaks against a lasting refusal, right for it. The weights are log-odds and add up. {what}', {
              what:
                (a.learnedFromAnimals ?? 0) > 0
                  ? say('The starting point is learned from {n} of your own animals.', {
                      n: a.learnedFromAnimals,
                    })
                  : say('The starting point is the default table: there are not enough of your own animals yet.'),
            })}
          </p>
        </>
      )}
    </Section>
  );
}

function Next({ a, d, again }: { a: AssessmentJson; d: Everything; again: () => void }): JSX.Element {
  const [open, setOpen] = useState('');
  // The focus goes into the form that takes the button's place, and back to the button.
  const list = useRef<HTMLOListElement>(null);
  const was = useRef('');
  useEffect(() => {
    const code = open || was.current;
    was.current = open;
    if (!code) return;
    const li = list.current?.querySelector(`[data-step="${code}"]`);
    (li?.querySelector<HTMLElement>('form') ?? li?.querySelector<HTMLElement>('button'))?.focus();
  }, [open]);
  const agreed = d.entries.filter((e) => e.step && !e.replacedBy);
  // That nothing has to change is nothing to agree on beside what has to.
  const steps = (a.steps ?? []).filter((s, _, all) => s.code !== 'keep_going' || all.length === 1);
  const all = steps.some((s) => s.code === inPeace.code) ? steps : [...steps, inPeace];
  return (
    <Section id="c-next" title={say('Suggested next')}>
      {(a.steps ?? []).length === 0 && <p class="muted">{say('Nothing to do just now.')}</p>}
      <ol class="steps" ref={list}>
        {all.map((s) => {
          const last = agreed
            .filter((e) => e.step?.step === s.code)
            .sort((x, y) => byLetters(y.happenTime, x.happenTime))[0];
          return (
            <li key={s.code} data-step={s.code}>
              <p>{s.text}</p>
              {last && (
                <p class="muted">
                  {entryLine(last)}, {ago(last.happenTime)}.
                </p>
              )}
              {open === s.code ? (
                <Agree
                  step={s}
                  d={d}
                  done={() => {
                    setOpen('');
                    again();
                  }}
                  cancel={() => setOpen('')}
                />
              ) : (
                <Button icon="check" onClick={() => setOpen(s.code ?? '')}>
                  {last ? say('Agree on this again') : say('Agree on this')}
                </Button>
              )}
            </li>
          );
        })}
      </ol>
    </Section>
  );
}

/** "Until Thu 3 Dec. " for days as they are being typed. */
function until(days: string): string {
  const n = Number(days.trim());
  if (!Number.isInteger(n) || n <= 0 || n > 120) return '';
  return `${say('To {day}.', { day: day(new Date(Date.now() + n * 86_400_000).toISOString()) })} `;
}

function Agree({
  step,
  d,
  done,
  cancel,
}: {
  step: StepJson;
  d: Everything;
  done: () => void;
  cancel: () => void;
}): JSX.Element {
  // What is done once, as putting a hazard right, holds for no days: silence after it is a reason to ask.
  const [days, setDays] = useState(String(step.holdsDays ?? 0));
  const [note, setNote] = useState('');
  const save = useSave();
  return (
    <form
      class="stack"
      aria-label={step.text}
      tabIndex={-1}
      onSubmit={(e) => {
        e.preventDefault();
        void save
          .run(({ id, at }) => {
            const holdsDays = Number(days.trim());
            if (!Number.isInteger(holdsDays) || holdsDays < 0 || holdsDays > 120) {
              throw new FormError('holds_days', say('Give whole days, from 0 to 120.'));
            }
            return ask<CreateEntryResponseJson>('POST', withQuery(`/v1/${d.c.animal?.name}/entries`, { entryId: id }), {
              case: d.c.name ?? '',
              happenTime: at,
              note: note.trim(),
              step: { step: step.code ?? '', holdsDays },
            } satisfies EntryJson);
          })
          .then((ok) => ok && done());
      }}
    >
      <Field
        label={say('Holds for')}
        unit={say('days')}
        inputMode="numeric"
        value={days}
        onInput={setDays}
        error={problem(save.error, 'holds_days')}
        hint={
          days.trim() === '0'
            ? say('Once: the keeper is asked again as usual. With days, not until they are over.')
            : say(
                '{until}Until then the keeper is not asked about it, and silence is no reason to worry. 0 means: once.',
                { until: until(days) },
              )
        }
      />
      <Field
        label={say('In your own words (may stay empty)')}
        lines={2}
        maxLength={1000}
        value={note}
        onInput={setNote}
        error={problem(save.error, 'note')}
      />
      <Problem error={save.error} shown={['holds_days', 'note']} />
      <div class="actions">
        <Button kind="main" type="submit" busy={save.busy}>
          {say('Agree, and tell the keeper')}
        </Button>
        <Button onClick={cancel}>{say('Cancel')}</Button>
      </div>
    </form>
  );
}

function Messages({ d, again }: { d: Everything; again: () => void }): JSX.Element {
  // The same message sent again is the same entry.
  const pending = useRef<{ same: string; id: string; at: string } | undefined>(undefined);
  const [sent, setSent] = useState<EntryJson[]>([]);
  useEffect(() => void loadPhrases(), []);
  const animal = d.c.animal?.name ?? '';
  const mine = waiting.value.filter((i) => i.case === d.c.name && i.entry?.message);
  const onDevice = mine.map((i): EntryJson => ({ ...i.entry, name: `${animal}/entries/${i.id}` }));
  // What waited here has gone: the service has it.
  const count = useRef(mine.length);
  useEffect(() => {
    if (mine.length < count.current) again();
    count.current = mine.length;
  }, [mine.length, again]);
  const shown = new Map([...onDevice, ...sent, ...d.entries].map((e) => [e.name, e]));
  const facts = factsOf(d.c, [...(d.course.entries ?? []), ...d.entries], me.value?.userName || me.value?.breederName);
  const draft = `${draftPrefix}message ${d.c.name}`;
  const send = async ({ text, photos }: MessageDraft) => {
    const left = openPlaces(text);
    if (left.length > 0)
      throw new Error(
        say('This is not known: write it in yourself, or take it out: {left}.', { left: left.join(', ') }),
      );
    const ids = photos.map((x) => x.id);
    const same = [text, ...ids].join('\n');
    if (pending.current?.same !== same) pending.current = { same, id: uuidv7(), at: new Date().toISOString() };
    const { id, at } = pending.current;
    const message = { text, ...(ids.length > 0 && { photos: ids }) };
    try {
      const { entry } = await logAsBreeder(
        animal,
        { case: d.c.name ?? '', happenTime: at, message },
        { id, photos, draft },
      );
      pending.current = undefined;
      if (entry) setSent((was) => [...was, entry]);
    } catch (e) {
      await writeDraft(draft, { text, photos }).catch(() => undefined); // it stands in the box again
      throw e;
    }
  };
  return (
    <Thread
      case={d.c.name ?? ''}
      entries={[...shown.values()]}
      unsent={new Set(onDevice.map((e) => e.name ?? ''))}
      me="breeder"
      breederName={me.value?.breederName}
      keeperName={d.c.keeperName}
      names={{ points: d.points, signs: d.signs }}
      draft={draft}
      receipts={{ got: d.c.keeperGotTime, read: d.c.keeperReadTime }}
      phrases={phrases.value?.map((p) => fill(p, facts))}
      phrasesNote={
        <p>
          <Link to="/b/phrases">{say('Change your phrases')}</Link>
        </p>
      }
      onSend={send}
      closed={d.c.endTime ? say('The follow-up has ended. Open it again to write.') : undefined}
    />
  );
}

const verdicts: Record<string, { word: string; place: number }> = {
  hazard: { word: say('to fix'), place: 0 },
  unsure: { word: say('not sure'), place: 1 },
  fine: { word: say('fine'), place: 2 },
  not_here: { word: say('not here'), place: 3 },
};

function Setup({ d }: { d: Everything }): JSX.Element {
  const rows = latestAnswers(d.entries).map(({ answer, at }) => {
    const point = d.points.find((p) => p.code === answer.point);
    const choice = point?.choices?.find((c) => c.code === answer.choice);
    return { answer, at, point, choice, verdict: verdicts[choice?.verdict ?? ''] ?? { word: '', place: 1 } };
  });
  if (rows.length === 0) return <p class="muted">{say('The keeper has not walked through the checklist yet.')}</p>;
  rows.sort((x, y) => x.verdict.place - y.verdict.place);
  const open = rows.filter((r) => r.verdict.place < 2);
  const good = rows.filter((r) => r.verdict.place >= 2);
  const show = (some: typeof rows) => (
    <ul class="list">
      {some.map((r) => (
        <li key={r.answer.point}>
          <p>
            <strong>{r.point?.title ?? r.answer.point}</strong>{' '}
            {r.verdict.word && <span class={`chip ${r.choice?.verdict}`}>{r.verdict.word}</span>}
          </p>
          <p>
            {r.choice?.label ?? r.answer.choice}
            {Number(r.answer.measureMm) > 0 && `, ${formatNumber(Number(r.answer.measureMm), 1)} mm`}
            {(r.point?.sizes ?? [])
              .filter((z) => Number(r.answer.sizes?.[z.code ?? '']) > 0)
              .map((z) => {
                const v = Number(r.answer.sizes?.[z.code ?? '']);
                return `, ${within(z.label ?? '')}: ${z.unit === 'g' ? formatMass(v) : `${formatNumber(v, 1)} mm`}`;
              })}
            {r.answer.note && `. ${r.answer.note}`}
          </p>
          {(r.answer.photos?.length ?? 0) > 0 && (
            <Pictures
              pictures={(r.answer.photos ?? []).map((id) => ({
                name: `${d.c.name}/photos/${id}`,
                words: say('Picture of: {title}', { title: r.point?.title ?? r.answer.point }),
              }))}
            />
          )}
          <p class="muted">
            {ago(r.at)}
            {r.choice?.verdict === 'hazard' && r.point?.fix && `. ${r.point.fix}`}
          </p>
        </li>
      ))}
    </ul>
  );
  return (
    <>
      {open.length > 0 ? show(open) : <p>{say('Every point that was looked at is fine.')}</p>}
      {good.length > 0 && (
        <details>
          <summary>
            {say(
              { one: '{n} point is fine or not there', other: '{n} points are fine or not there' },
              { n: good.length },
            )}
          </summary>
          {show(good)}
        </details>
      )}
    </>
  );
}

function Readings({ d }: { d: Everything }): JSX.Element {
  const rows = d.entries
    .filter((e) => (e.sign || e.climate) && !e.replacedBy)
    .sort((a, b) => byLetters(b.happenTime, a.happenTime));
  if (rows.length === 0) return <p class="muted">{say('No sign and no climate reading was logged.')}</p>;
  return (
    <ul class="list">
      {rows.map((e) => (
        <li key={e.name}>
          <p>{entryLine(e, { points: d.points, signs: d.signs })}</p>
          <p class="muted">
            {ago(e.happenTime)}
            {e.note && `. ${e.note}`}
          </p>
        </li>
      ))}
    </ul>
  );
}

function photoWords(p: PhotoJson): string {
  const hints = [p.dark && say('dark'), p.blurred && say('not sharp')].filter(Boolean).join(', ');
  return `${p.by === 'ACTOR_KIND_KEEPER' ? say('Keeper’s photo') : say('Photo')}, ${ago(p.takeTime ?? p.receiveTime)}${hints ? ` (${hints})` : ''}`;
}

function Photos({ photos }: { photos: PhotoJson[] }): JSX.Element {
  if (photos.length === 0) return <p class="muted">{say('No photo yet.')}</p>;
  return (
    <Pictures
      pictures={photos.map((p) => ({ name: p.name ?? '', words: photoWords(p), width: p.width, height: p.height }))}
      previous={say('Newer')}
      next={say('Older')}
    />
  );
}

function Flags({ flags }: { flags: FlagJson[] }): JSX.Element {
  if (flags.length === 0) return <p class="muted">{say('Nothing was flagged.')}</p>;
  return (
    <ul class="list">
      {flags.map((f) => (
        <li key={f.name} class="stack">
          <p class="row">
            <Standing standing={f.level} />
            <span>{f.text}</span>
          </p>
          <p class="muted">
            {f.closeTime
              ? say('Open since {day}, closed {closed}', { day: day(f.openTime ?? ''), closed: day(f.closeTime) })
              : say('Open since {day}', { day: day(f.openTime ?? '') })}
          </p>
          {(f.history ?? []).length > 0 && (
            <details>
              <summary>{say('History')}</summary>
              <ol class="muted">
                {f.history?.map((h) => (
                  <li key={`${h.time} ${h.what}`}>
                    {day(h.time ?? '')}: {h.what}, {standingWord(h.level).word}. {h.text}
                  </li>
                ))}
              </ol>
            </details>
          )}
        </li>
      ))}
    </ul>
  );
}

const outcomes: { value: OutcomeJson; label: string; means: string }[] = [
  { value: 'OUTCOME_SETTLED', label: say('Settled'), means: say('It eats and is well.') },
  { value: 'OUTCOME_RETURNED', label: say('Returned'), means: say('It came back to you.') },
  { value: 'OUTCOME_VET', label: say('Vet'), means: say('A vet has taken over.') },
  { value: 'OUTCOME_DIED', label: say('Died'), means: '' },
  { value: 'OUTCOME_LOST_TOUCH', label: say('Lost touch'), means: say('The keeper no longer answers.') },
];

/** How only the keeper ends a follow-up. */
const byKeeper: Partial<Record<OutcomeJson, string>> = {
  OUTCOME_LEFT: say('The keeper left'),
  OUTCOME_PASSED_ON: say('Passed on'),
};

export function outcomeWord(o: OutcomeJson | undefined): string {
  return outcomes.find((x) => x.value === o)?.label ?? (o && byKeeper[o]) ?? say('Ended');
}

function End({ c, again }: { c: CaseJson; again: () => void }): JSX.Element {
  const [outcome, setOutcome] = useState<OutcomeJson>('OUTCOME_UNSPECIFIED');
  const [note, setNote] = useState('');
  const save = useSave();
  return (
    <details class="card end">
      <summary>{say('End the follow-up')}</summary>
      <form
        class="stack"
        onSubmit={(e) => {
          e.preventDefault();
          void save
            .run(({ id }) => {
              if (outcome === 'OUTCOME_UNSPECIFIED') throw new FormError('outcome', say('Choose how it ended.'));
              return ask<EndCaseResponseJson>('POST', `/v1/${c.name}:end`, {
                outcome,
                note: note.trim(),
                requestId: id,
              });
            })
            .then((ok) => ok && again());
        }}
      >
        <fieldset class="field">
          <legend>{say('How did it end?')}</legend>
          <div class="stack tight">
            {outcomes
              .filter((o) => o.value !== 'OUTCOME_RETURNED') // has a form of its own, above
              .map((o) => (
                <label key={o.value}>
                  <input
                    type="radio"
                    name="outcome"
                    checked={outcome === o.value}
                    onChange={() => setOutcome(o.value)}
                  />
                  <span>
                    {o.label}
                    {o.means && <span class="muted">: {o.means}</span>}
                  </span>
                </label>
              ))}
          </div>
          {problem(save.error, 'outcome') && (
            <p class="problem" role="alert">
              <Icon name="warn" />
              {problem(save.error, 'outcome')}
            </p>
          )}
        </fieldset>
        <Field
          label={say('Note (may stay empty)')}
          lines={2}
          maxLength={1000}
          value={note}
          onInput={setNote}
          error={problem(save.error, 'note')}
        />
        <Problem error={save.error} shown={['outcome', 'note']} />
        <p class="muted">
          {say('The keeper keeps the record and the log. You can open the follow-up again at any time.')}
        </p>
        <div class="actions">
          <Button kind="danger" type="submit" busy={save.busy}>
            {say('End it')}
          </Button>
        </div>
      </form>
    </details>
  );
}

/** It came back without having been given back here first. */
function CameBack(p: { c: CaseJson; entries: EntryJson[]; again: () => void }): JSX.Element {
  return (
    <details class="card end">
      <summary>{say('It came back to you')}</summary>
      <Arrive {...p} />
    </details>
  );
}

/** For a keeper who signed out or has another phone. The code is in memory only: the service keeps a hash. */
function LetIn({ c }: { c: CaseJson }): JSX.Element {
  const [lost, setLost] = useState(false);
  const [code, setCode] = useState<KeeperCodeJson | undefined>();
  const save = useSave();
  return (
    <details class="card end">
      <summary>{say('The keeper cannot get in')}</summary>
      <form
        class="stack"
        onSubmit={(e) => {
          e.preventDefault();
          void save.run(async () => {
            const answer = await ask<CreateKeeperCodeResponseJson>('POST', `/v1/${c.name}:createKeeperCode`, {
              endSignIns: lost,
            });
            setCode(answer.code);
          });
        }}
      >
        <p>
          {say(
            'A code signs {keeperName} in again, on any phone, with all animals that came from you. It works once and waits a week. Show it, send it, or read it out.',
            { keeperName: c.keeperName || say('the keeper') },
          )}
        </p>
        <label>
          <input type="checkbox" checked={lost} onChange={(e) => setLost(e.currentTarget.checked)} />
          <span>
            {say('The phone is lost.')}{' '}
            <span class="muted">
              {say('It, and every other phone of this keeper, then sees nothing of your animals.')}
            </span>
          </span>
        </label>
        {code && (
          <KeeperCode key={code.code} code={code.code ?? ''} url={code.url ?? ''} until={code.expireTime ?? ''} />
        )}
        <Problem error={save.error} />
        <div class="actions">
          <Button type="submit" icon="key" busy={save.busy}>
            {code ? say('Make another; this one then stops working') : say('Make a new link for the keeper')}
          </Button>
        </div>
      </form>
    </details>
  );
}

function Ended({ c, again }: { c: CaseJson; again: () => void }): JSX.Element {
  const save = useSave();
  return (
    <Notice
      kind="good"
      live
      title={say('The follow-up has ended: {outcome}, {ago}', {
        outcome: within(outcomeWord(c.outcome)),
        ago: ago(c.endTime),
      })}
    >
      <p>{say('What stands here of the animal is as of that day.')}</p>
      {c.keeperLeft && (
        <p>{say('The keeper was erased. What was seen of the animal is still here, without the person.')}</p>
      )}
      <Problem error={save.error} />
      {!(c.outcome && byKeeper[c.outcome]) && (
        <div class="actions">
          <Button
            busy={save.busy}
            onClick={() => {
              void save
                .run(({ id }) => ask<ReopenCaseResponseJson>('POST', `/v1/${c.name}:reopen`, { requestId: id }))
                .then((ok) => ok && again());
            }}
          >
            {say('Open it again')}
          </Button>
        </div>
      )}
    </Notice>
  );
}
