import type { JSX } from 'preact';
import type { AssessmentJson, CaseJson } from '../../core/contract';
import { caseAddress } from '../../core/ids';
import { ago, day } from '../../core/time';
import { entryLine } from '../../core/words';
import { current, type Line } from '../../store/copies';
import { phase, signedOut } from '../../sync/sync';
import { Link, Screen } from '../nav';
import { ThermalBand } from '../parts/band';
import { Button, Notice } from '../parts/controls';
import { Icon, type IconName } from '../parts/icons';
import { Standing } from '../parts/standing';
import { Asked } from './asked';
import { Hope } from './hope';
import { animalName, known, linesOf, refusedItems, saved, unread, unsent } from './state';

export function CaseList({ cases }: { cases: readonly CaseJson[] }): JSX.Element {
  const waiting = known.value?.waiting ?? [];
  return (
    <Screen
      title={cases.length === 0 && waiting.length > 0 ? 'Your card is right' : 'Your snakes'}
      above={<ThermalBand />}
    >
      <ul class="stack">
        {cases.map((c) => (
          <li key={c.name}>
            <Link to={caseAddress(c.name ?? '')} class="card animal">
              <span class="row">
                <strong class="name">{animalName(c)}</strong>
                <span class="end">
                  <Standing standing={c.standing} keeper />
                </span>
              </span>
              <span class="muted">{c.commonName}</span>
              {unread(c).length > 0 && <span class="chip">{c.breederName || 'Your breeder'} wrote</span>}
              {c.assessment?.keeperDo && <span class="block">{c.assessment.keeperDo}</span>}
            </Link>
          </li>
        ))}
      </ul>
      <WaitingCards />
      {cases.length === 0 && waiting.length === 0 && <p>No snake is on this phone yet.</p>}
      <PhoneState />
      <nav class="stack foot" aria-label="More">
        <Link to="/c" class="button">
          <Icon name="plus" />
          <span>Take on another card</span>
        </Link>
        <Link to="/k/settings" class="button quiet">
          Settings
        </Link>
      </nav>
    </Screen>
  );
}

/** Cards that were taken on before the breeder's phone had network to send the sale. */
function WaitingCards(): JSX.Element {
  return (
    <>
      {(known.value?.waiting ?? []).map((w) => {
        const from = w.breederName || 'your breeder';
        return w.revoked ? (
          <Notice key={w.number} kind="warn" live title={`Card ${w.number} was taken back`}>
            <p>No record comes for it. Ask {from} for another card.</p>
          </Notice>
        ) : (
          <Notice key={w.number} live title={`Card ${w.number} is yours, and waits for its record`}>
            <p>
              The sale is still on the phone of {from}. It is sent as soon as that phone has network, and then your
              snake stands here by itself. There is nothing for you to do.
            </p>
            <p class="muted">Taken on {ago(w.claimTime)}.</p>
          </Notice>
        );
      })}
    </>
  );
}

interface Action {
  label: string;
  to: string;
  icon: IconName;
}

/** What the next step needs from this phone; undefined when it is to wait, or not known here. */
export function actionFor(code = ''): Action | undefined {
  if (code.startsWith('fix:')) {
    return { label: 'Done? Answer that point again', to: `setup/${code.slice(4)}`, icon: 'list' };
  }
  if (code.startsWith('remeasure:')) {
    return { label: 'Measured it again? Write it down', to: `setup/${code.slice(10)}`, icon: 'list' };
  }
  switch (code) {
    case 'call_vet':
      return { label: 'Tell your breeder too', to: 'thread', icon: 'message' };
    case 'say_how_it_is':
      return { label: 'Write a line', to: 'thread', icon: 'message' };
    case 'weigh':
      return { label: 'Log the weight', to: 'weigh', icon: 'scale' };
    case 'offer':
    case 'offer_smaller':
      return { label: 'Log how it went', to: 'offer', icon: 'meal' };
    case 'check_setup':
      return { label: 'Open the checklist', to: 'setup', icon: 'list' };
    case 'measure_climate':
      return { label: 'Log what you measure', to: 'climate', icon: 'warm' };
    case 'raise_warm_side':
    case 'raise_night':
    case 'two_ends':
    case 'cool_the_cool_side':
    case 'lower_the_heat':
    case 'raise_humidity':
    case 'lower_humidity':
      return { label: 'Done? Measure again and log it', to: 'climate', icon: 'warm' };
  }
  return undefined;
}

const logs: readonly Action[] = [
  { label: 'Food offered', to: 'offer', icon: 'meal' },
  { label: 'Weight', to: 'weigh', icon: 'scale' },
  { label: 'Warmth', to: 'climate', icon: 'warm' },
  { label: 'Shed', to: 'shed', icon: 'shed' },
  { label: 'Looks unwell', to: 'sign', icon: 'warn' },
];

/** Ends after which the animal is not with the keeper any more. */
const gone = new Set(['OUTCOME_RETURNED', 'OUTCOME_DIED', 'OUTCOME_PASSED_ON', 'OUTCOME_LEFT']);

export function CaseHome({ c, first }: { c: CaseJson; first: boolean }): JSX.Element {
  const at = (rest: string) => caseAddress(c.name ?? '', rest);
  const a = c.assessment;
  const lines = current(linesOf(c));
  const waiting = lines.some((l) => l.item && !l.entry.seen);
  return (
    <Screen title={animalName(c)} above={<ThermalBand />} back={first ? undefined : '/'}>
      <p class="muted under">
        {c.commonName}
        {c.handoverTime && `, with you since ${day(c.handoverTime)}`}
      </p>
      <JustSaved c={c} />
      {c.endTime && (
        <Notice>
          <p>
            {c.outcome === 'OUTCOME_PASSED_ON'
              ? `${animalName(c)} has gone on to its next keeper, ${ago(c.endTime)}.`
              : `Your breeder has ended this follow-up ${ago(c.endTime)}.`}{' '}
            You can still read everything here.
          </p>
        </Notice>
      )}
      {c.eraseTime && (
        <Notice kind="warn" title={`${c.breederName || 'Your breeder'} leaves the service on ${day(c.eraseTime)}`}>
          <p>
            This follow-up is erased then. Your snake stays yours, of course. Take a copy of everything before that day.
          </p>
          <Link to="/k/data" class="button">
            Take a copy
          </Link>
        </Notice>
      )}
      {c.giveBackTime && (
        <Notice title="On its way back">
          <p>
            You asked {ago(c.giveBackTime)} to give {animalName(c)} back. {c.breederName || 'Your breeder'} ends this
            when it has arrived; until then everything goes on as usual.
          </p>
          <Link to={at('onward')} class="button">
            I keep it after all
          </Link>
        </Notice>
      )}
      {a ? (
        <HowItIs c={c} a={a} waiting={waiting} />
      ) : (
        <p>Your breeder’s first look at {animalName(c)} comes when there is network.</p>
      )}
      <UnsentSigns lines={lines} />
      <Unread c={c} />
      {!c.endTime && <NextThing c={c} a={a} />}
      <GuideNow c={c} />
      {!c.endTime && (
        <section aria-labelledby="log">
          <h2 id="log">Log something</h2>
          <ul class="tiles logs">
            {logs.map((l) => (
              <li key={l.to}>
                <Link to={at(l.to)} class="tile">
                  <Icon name={l.icon} />
                  <span>{l.label}</span>
                </Link>
              </li>
            ))}
          </ul>
        </section>
      )}
      <Lately c={c} lines={lines} />
      <PhoneState />
      <nav aria-label={animalName(c)}>
        <ul class="list plain">
          <li>
            <Link to={at('thread')}>
              <Icon name="message" />
              Write to {c.breederName || 'your breeder'}
            </Link>
          </li>
          <li>
            <Link to={at('setup')}>
              <Icon name="list" />
              Setup checklist
            </Link>
          </li>
          <li>
            <Link to={at('history')}>
              <Icon name="clock" />
              Everything so far
            </Link>
          </li>
          <li>
            <Link to={at('guide')}>
              <Icon name="help" />
              Guide: what to do when
            </Link>
          </li>
          <li>
            <Link to={at('record')}>
              <Icon name="book" />
              Handover record
            </Link>
          </li>
          <li>
            <Link to={at('vet')}>
              <Icon name="print" />A letter for the vet
            </Link>
          </li>
          {!gone.has(c.outcome ?? '') && (
            <li>
              <Link to={at('onward')}>
                <Icon name="hand" />
                Pass it on, or give it back
              </Link>
            </li>
          )}
          {first && (
            <li>
              <Link to="/c">
                <Icon name="plus" />
                Take on another card
              </Link>
            </li>
          )}
          <li>
            <Link to="/k/settings">
              <Icon name="person" />
              Settings and privacy
            </Link>
          </li>
        </ul>
      </nav>
    </Screen>
  );
}

/** What a standing asks of people, by its place in the order. */
function HowItIs({ c, a, waiting }: { c: CaseJson; a: AssessmentJson; waiting: boolean }): JSX.Element {
  return (
    <section class="how stack" aria-label="How it is">
      <p class="row">
        <Standing standing={c.standing} big keeper />
      </p>
      <p class="lead">{a.keeperSees}</p>
      <p>{a.keeperMeans}</p>
      {waiting && (
        <p class="muted">This is from before what you logged last. It is looked at again when that has been sent.</p>
      )}
    </section>
  );
}

/** A red sign that the service has not seen yet: what to do stands here all the same. */
function UnsentSigns({ lines }: { lines: readonly Line[] }): JSX.Element {
  const red = lines
    .filter((l) => l.item && l.entry.sign && !l.entry.sign.gone)
    .map((l) => known.value?.signs.find((s) => s.code === l.entry.sign?.sign))
    .filter((s) => s?.level === 'STANDING_VET');
  return (
    <>
      {red.map((s) => (
        <Notice key={s?.code} kind="bad" title={`You saw: ${s?.label}`}>
          <p class="lead">{s?.doNow}</p>
          <p>This has not been sent yet, so your breeder does not know. Do not wait for that.</p>
        </Notice>
      ))}
    </>
  );
}

/** What the breeder wrote and nobody has read here yet. */
function Unread({ c }: { c: CaseJson }): JSX.Element | null {
  const [newest, ...older] = unread(c);
  if (!newest) return null;
  return (
    <section class="card stack" aria-labelledby="wrote">
      <h2 id="wrote">{c.breederName || 'Your breeder'} wrote</h2>
      <p class="lead text">{newest.message?.text}</p>
      <p class="muted">
        {ago(newest.happenTime)}
        {older.length > 0 && `, and ${older.length} more before it`}
      </p>
      <Link to={caseAddress(c.name ?? '', 'thread')} class="button">
        <Icon name="message" />
        <span>Read and answer</span>
      </Link>
    </section>
  );
}

function NextThing({ c, a }: { c: CaseJson; a: AssessmentJson | undefined }): JSX.Element | null {
  const action = actionFor(a?.steps?.[0]?.code);
  if (!a?.keeperDo) return null;
  return (
    <section class="card next stack" aria-labelledby="next">
      <h2 id="next">The one thing to do now</h2>
      <p class="lead">{a.keeperDo}</p>
      {action && (
        <Link to={caseAddress(c.name ?? '', action.to)} class="button main wide">
          <Icon name={action.icon} />
          <span>{action.label}</span>
        </Link>
      )}
      <Hope c={c} />
      <Asked c={c} busy={Boolean(action)} />
      {a.keeperWorry && (
        <details>
          <summary>When to worry</summary>
          <p>{a.keeperWorry}</p>
        </details>
      )}
    </section>
  );
}

/** The page of the guide that matters now. */
function GuideNow({ c }: { c: CaseJson }): JSX.Element | null {
  const guide = known.value?.guides.get(c.name ?? '');
  const page = guide?.pages?.find((p) => p.code === guide.nowPage);
  if (!page || c.endTime) return null;
  return (
    <Link to={caseAddress(c.name ?? '', `guide/${page.code}`)} class="card reading">
      <Icon name="help" />
      <span class="grow">
        <span class="block muted">To read now</span>
        <strong>{page.title}</strong>
      </span>
      <Icon name="next" />
    </Link>
  );
}

function Lately({ c, lines }: { c: CaseJson; lines: readonly Line[] }): JSX.Element {
  const three = lines
    .filter((l) => l.entry.offer || l.entry.weighIn || l.entry.shed || l.entry.climate || l.entry.sign)
    .slice(0, 3);
  const names = { signs: known.value?.signs, points: known.value?.points };
  return (
    <section aria-labelledby="lately">
      <h2 id="lately">Lately</h2>
      <ul class="list">
        {three.map((l) => (
          <li key={l.entry.name}>
            {entryLine(l.entry, names)} <span class="muted">{ago(l.entry.happenTime)}</span>
            {l.item && <OnPhone dead={l.item.state === 'dead'} />}
          </li>
        ))}
      </ul>
      <p class="muted">
        {c.breederName || 'Your breeder'} last heard from you {ago(c.lastHeardTime)}.
      </p>
    </section>
  );
}

/** Says of one entry that it has not arrived. */
export function OnPhone({ dead }: { dead: boolean }): JSX.Element {
  return <span class="chip">{dead ? 'needs you' : 'on this phone, not sent yet'}</span>;
}

function JustSaved({ c }: { c: CaseJson }): JSX.Element {
  const s = saved.value?.case === c.name ? saved.value : null;
  const waits = s && known.value?.outbox.some((i) => i.id === s.id);
  return (
    <div role="status">
      {s && (
        <Notice kind="good" title={waits ? 'Saved on this phone' : 'Saved and sent'}>
          <p>{s.text}</p>
          {waits && phase.value === 'offline' && <p>It will be sent when there is network.</p>}
          <div class="row">
            <Link to={caseAddress(c.name ?? '', `history/${s.id}`)} class="button">
              Change it
            </Link>
            <Button
              kind="quiet"
              onClick={() => {
                saved.value = null;
              }}
            >
              All right
            </Button>
          </div>
        </Notice>
      )}
    </div>
  );
}

/** What is only on this phone, and what needs the person. */
export function PhoneState(): JSX.Element | null {
  const waiting = unsent.value.filter((i) => i.state === 'queued');
  const refused = refusedItems.value;
  const oldest = Math.min(...waiting.map((i) => i.savedAt));
  return (
    <>
      {signedOut.value && (
        <Notice kind="warn" live title="You are signed out on this phone">
          <p>
            What you log is kept here, but cannot be sent. Ask your breeder for a code to come back in; then it is sent.
          </p>
          <Link to="/in" class="button">
            I have a code
          </Link>
        </Notice>
      )}
      {refused.length > 0 && (
        <Notice
          kind="warn"
          live
          title={refused.length === 1 ? 'One entry needs you' : `${refused.length} entries need you`}
        >
          <p>
            The service did not take {refused.length === 1 ? 'it' : 'them'}. Nothing is lost; please look at what it
            says.
          </p>
          <Link to="/k/unsent" class="button">
            Look at {refused.length === 1 ? 'it' : 'them'}
          </Link>
        </Notice>
      )}
      {waiting.length > 0 && (
        <p class="phone" role="status">
          <Link to="/k/unsent">
            {waiting.length === 1 ? '1 entry is' : `${waiting.length} entries are`} saved on this phone and will be sent
            when there is network.
          </Link>
          {Date.now() - oldest > 24 * 3_600_000 &&
            ` The oldest waits since ${day(new Date(oldest).toISOString())}: please go online soon.`}
        </p>
      )}
      {waiting.length === 0 && phase.value === 'offline' && (
        <p class="phone muted" role="status">
          No network. You can read and log as usual.
        </p>
      )}
    </>
  );
}
