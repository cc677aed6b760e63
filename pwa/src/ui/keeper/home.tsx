import type { JSX } from 'preact';
import type { AssessmentJson, CaseJson } from '../../core/contract';
import { caseAddress } from '../../core/ids';
import { say } from '../../core/say';
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
      title={cases.length === 0 && waiting.length > 0 ? say('Your card is right') : say('Your snakes')}
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
              {unread(c).length > 0 && (
                <span class="chip">
                  {say('{breederName} wrote', { breederName: c.breederName || say('Your breeder') })}
                </span>
              )}
              {c.assessment?.keeperDo && <span class="block">{c.assessment.keeperDo}</span>}
            </Link>
          </li>
        ))}
      </ul>
      <WaitingCards />
      {cases.length === 0 && waiting.length === 0 && <p>{say('No snake is on this phone yet.')}</p>}
      <PhoneState />
      <nav class="stack foot" aria-label={say('More')}>
        <Link to="/c" class="button">
          <Icon name="plus" />
          <span>{say('Take on another card')}</span>
        </Link>
        <Link to="/k/settings" class="button quiet">
          {say('Settings')}
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
        const from = w.breederName || say('your breeder');
        return w.revoked ? (
          <Notice key={w.number} kind="warn" live title={say('Card {number} was taken back', { number: w.number })}>
            <p>{say('No record comes for it. Ask {from} for another card.', { from })}</p>
          </Notice>
        ) : (
          <Notice
            key={w.number}
            live
            title={say('Card {number} is yours, and waits for its record', { number: w.number })}
          >
            <p>
              {say(
                'The sale is still on the phone of {from}. It is sent as soon as that phone has network, and then your snake stands here by itself. There is nothing for you to do.',
                { from },
              )}
            </p>
            <p class="muted">{say('Taken on {ago}.', { ago: ago(w.claimTime) })}</p>
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
    return { label: say('Done? Answer that point again'), to: `setup/${code.slice(4)}`, icon: 'list' };
  }
  if (code.startsWith('remeasure:')) {
    return { label: say('Measured it again? Write it down'), to: `setup/${code.slice(10)}`, icon: 'list' };
  }
  switch (code) {
    case 'call_vet':
      return { label: say('Tell your breeder too'), to: 'thread', icon: 'message' };
    case 'say_how_it_is':
      return { label: say('Write a line'), to: 'thread', icon: 'message' };
    case 'weigh':
      return { label: say('Log the weight'), to: 'weigh', icon: 'scale' };
    case 'offer':
    case 'offer_smaller':
      return { label: say('Log how it went'), to: 'offer', icon: 'meal' };
    case 'check_setup':
      return { label: say('Open the checklist'), to: 'setup', icon: 'list' };
    case 'measure_climate':
      return { label: say('Log what you measure'), to: 'climate', icon: 'warm' };
    case 'raise_warm_side':
    case 'raise_night':
    case 'two_ends':
    case 'cool_the_cool_side':
    case 'lower_the_heat':
    case 'raise_humidity':
    case 'lower_humidity':
      return { label: say('Done? Measure again and log it'), to: 'climate', icon: 'warm' };
  }
  return undefined;
}

const logs: readonly Action[] = [
  { label: say('Food offered'), to: 'offer', icon: 'meal' },
  { label: say('Weight'), to: 'weigh', icon: 'scale' },
  { label: say('Warmth'), to: 'climate', icon: 'warm' },
  { label: say('Shed'), to: 'shed', icon: 'shed' },
  { label: say('Looks unwell'), to: 'sign', icon: 'warn' },
];

/** Ends after which the animal is not with the keeper any more. */
const gone = new Set(['OUTCOME_RETURNED', 'OUTCOME_DIED', 'OUTCOME_PASSED_ON', 'OUTCOME_LEFT']);

export function CaseHome({ c, first }: { c: CaseJson; first: boolean }): JSX.Element {
  const at = (rest: string) => caseAddress(c.name ?? '', rest);
  const a = c.assessment;
  const here = !gone.has(c.outcome ?? '');
  const lines = current(linesOf(c));
  const waiting = lines.some((l) => l.item && !l.entry.seen);
  return (
    <Screen title={animalName(c)} above={<ThermalBand />} back={first ? undefined : '/'}>
      <p class="muted under">
        {c.handoverTime && here
          ? say('{species}, with you since {day}', { species: c.commonName, day: day(c.handoverTime) })
          : c.commonName}
      </p>
      <JustSaved c={c} />
      {c.endTime && (
        <Notice>
          <p>{howItEnded(c)}</p>
        </Notice>
      )}
      {c.eraseTime && (
        <Notice
          kind="warn"
          title={say('{breederName} leaves the service on {day}', {
            breederName: c.breederName || say('Your breeder'),
            day: day(c.eraseTime),
          })}
        >
          <p>
            {say(
              'This follow-up is erased then. Your snake stays yours, of course. Take a copy of everything before that day.',
            )}
          </p>
          <Link to="/k/data" class="button">
            {say('Take a copy')}
          </Link>
        </Notice>
      )}
      {c.giveBackTime && (
        <Notice title={say('On its way back')}>
          <p>
            {say(
              'You asked {ago} to give {animal} back. {breederName} ends this when it has arrived; until then everything goes on as usual.',
              { ago: ago(c.giveBackTime), animal: animalName(c), breederName: c.breederName || say('Your breeder') },
            )}
          </p>
          <Link to={at('onward')} class="button">
            {say('I keep it after all')}
          </Link>
        </Notice>
      )}
      {!c.endTime &&
        (a ? (
          <HowItIs c={c} a={a} waiting={waiting} />
        ) : (
          <p>{say('Your breeder’s first look at {animal} comes when there is network.', { animal: animalName(c) })}</p>
        ))}
      <UnsentSigns lines={lines} />
      <Unread c={c} />
      {!c.endTime && <NextThing c={c} a={a} />}
      <GuideNow c={c} />
      {!c.endTime && (
        <section aria-labelledby="log">
          <h2 id="log">{say('Log something')}</h2>
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
              {say('Write to {breederName}', { breederName: c.breederName || say('your breeder') })}
            </Link>
          </li>
          {here && (
            <li>
              <Link to={at('setup')}>
                <Icon name="list" />
                {say('Setup checklist')}
              </Link>
            </li>
          )}
          <li>
            <Link to={at('history')}>
              <Icon name="clock" />
              {say('Everything so far')}
            </Link>
          </li>
          {here && (
            <li>
              <Link to={at('guide')}>
                <Icon name="help" />
                {say('Guide: what to do when')}
              </Link>
            </li>
          )}
          <li>
            <Link to={at('record')}>
              <Icon name="book" />
              {say('Handover record')}
            </Link>
          </li>
          {here && !toVet(c) && (
            <li>
              <Link to={at('vet')}>
                <Icon name="print" />
                {say('A letter for the vet')}
              </Link>
            </li>
          )}
          {here && (
            <li>
              <Link to={at('onward')}>
                <Icon name="hand" />
                {say('Pass it on, or give it back')}
              </Link>
            </li>
          )}
          {first && (
            <li>
              <Link to="/c">
                <Icon name="plus" />
                {say('Take on another card')}
              </Link>
            </li>
          )}
          <li>
            <Link to="/k/settings">
              <Icon name="person" />
              {say('Settings and privacy')}
            </Link>
          </li>
        </ul>
      </nav>
    </Screen>
  );
}

/** Whole, and not by a table of outcomes: each is news of its own. */
function howItEnded(c: CaseJson): string {
  const animal = animalName(c);
  switch (c.outcome) {
    case 'OUTCOME_PASSED_ON':
      return say('{animal} has gone on to its next keeper, {ago}. You can still read everything here.', {
        animal,
        ago: ago(c.endTime),
      });
    case 'OUTCOME_RETURNED':
      return say('{animal} is back with {breederName}. You looked after it. You can still read everything here.', {
        animal,
        breederName: c.breederName || say('your breeder'),
      });
    case 'OUTCOME_DIED':
      return say('{animal} has died. We are sorry. What you wrote down stays here.', { animal });
    default:
      return say('Your breeder has ended this follow-up {ago}. You can still read everything here.', {
        ago: ago(c.endTime),
      });
  }
}

/** What a standing asks of people, by its place in the order. */
function HowItIs({ c, a, waiting }: { c: CaseJson; a: AssessmentJson; waiting: boolean }): JSX.Element {
  return (
    <section class="how stack" aria-label={say('How it is')}>
      <p class="row">
        <Standing standing={c.standing} big keeper />
      </p>
      <p class="lead">{a.keeperSees}</p>
      <p>{a.keeperMeans}</p>
      {waiting && (
        <p class="muted">
          {say('This is from before what you logged last. It is looked at again when that has been sent.')}
        </p>
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
        <Notice key={s?.code} kind="bad" title={say('You saw: {label}', { label: s?.label })}>
          <p class="lead">{s?.doNow}</p>
          <p>{say('This has not been sent yet, so your breeder does not know. Do not wait for that.')}</p>
        </Notice>
      ))}
    </>
  );
}

/** What the breeder wrote and nobody has read yet. */
function Unread({ c }: { c: CaseJson }): JSX.Element | null {
  const [newest, ...older] = unread(c);
  if (!newest) return null;
  return (
    <section class="card stack" aria-labelledby="wrote">
      <h2 id="wrote">{say('{breederName} wrote', { breederName: c.breederName || say('Your breeder') })}</h2>
      <p class="lead text">{newest.message?.text}</p>
      <p class="muted">
        {older.length > 0
          ? say('{ago}, and {n} more before it', { ago: ago(newest.happenTime), n: older.length })
          : ago(newest.happenTime)}
      </p>
      <Link to={caseAddress(c.name ?? '', 'thread')} class="button">
        <Icon name="message" />
        <span>{say('Read and answer')}</span>
      </Link>
    </section>
  );
}

/** The letter for the vet stands with the thing to do, and not among the rest. */
function toVet(c: CaseJson): boolean {
  return c.standing === 'STANDING_VET' && !c.endTime && Boolean(c.assessment?.keeperDo);
}

function NextThing({ c, a }: { c: CaseJson; a: AssessmentJson | undefined }): JSX.Element | null {
  const action = actionFor(a?.steps?.[0]?.code);
  if (!a?.keeperDo) return null;
  return (
    <section class="card next stack" aria-labelledby="next">
      <h2 id="next">{say('The one thing to do now')}</h2>
      <p class="lead">{a.keeperDo}</p>
      {action && (
        <Link to={caseAddress(c.name ?? '', action.to)} class="button main wide">
          <Icon name={action.icon} />
          <span>{action.label}</span>
        </Link>
      )}
      {toVet(c) && (
        <Link to={caseAddress(c.name ?? '', 'vet')} class="button wide">
          <Icon name="print" />
          <span>{say('A letter for the vet')}</span>
        </Link>
      )}
      <Hope c={c} />
      <Asked c={c} busy={Boolean(action)} />
      {a.keeperWorry && (
        <details>
          <summary>{say('When to worry')}</summary>
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
        <span class="block muted">{say('To read now')}</span>
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
      <h2 id="lately">{say('Lately')}</h2>
      <ul class="list">
        {three.map((l) => (
          <li key={l.entry.name}>
            {entryLine(l.entry, names)} <span class="muted">{ago(l.entry.happenTime)}</span>{' '}
            {l.item && <OnPhone dead={l.item.state === 'dead'} />}
          </li>
        ))}
      </ul>
      <p class="muted">
        {say('{breederName} last heard from you {ago}.', {
          breederName: c.breederName || say('Your breeder'),
          ago: ago(c.lastHeardTime),
        })}
      </p>
    </section>
  );
}

/** Says of one entry that it has not arrived. */
export function OnPhone({ dead }: { dead: boolean }): JSX.Element {
  return <span class="chip">{dead ? say('needs you') : say('on this phone, not sent yet')}</span>;
}

function JustSaved({ c }: { c: CaseJson }): JSX.Element {
  const s = saved.value?.case === c.name ? saved.value : null;
  const waits = s && known.value?.outbox.some((i) => i.id === s.id);
  return (
    <div role="status">
      {s && (
        <Notice kind="good" title={waits ? say('Saved on this phone') : say('Saved and sent')}>
          <p>{s.text}</p>
          {waits && phase.value === 'offline' && <p>{say('It will be sent when there is network.')}</p>}
          <div class="row">
            <Link to={caseAddress(c.name ?? '', `history/${s.id}`)} class="button">
              {say('Change it')}
            </Link>
            <Button
              kind="quiet"
              onClick={() => {
                saved.value = null;
              }}
            >
              {say('All right')}
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
        <Notice kind="warn" live title={say('You are signed out on this phone')}>
          <p>
            {say(
              'What you log is kept here, but cannot be sent. Ask your breeder for a code to come back in; then it is sent.',
            )}
          </p>
          <Link to="/in" class="button">
            {say('I have a code')}
          </Link>
        </Notice>
      )}
      {refused.length > 0 && (
        <Notice
          kind="warn"
          live
          title={refused.length === 1 ? say('One entry needs you') : say('{n} entries need you', { n: refused.length })}
        >
          <p>
            {say(
              {
                one: 'The service did not take it. Nothing is lost; please look at what it says.',
                other: 'The service did not take them. Nothing is lost; please look at what it says.',
              },
              { n: refused.length },
            )}
          </p>
          <Link to="/k/unsent" class="button">
            {say({ one: 'Look at it', other: 'Look at them' }, { n: refused.length })}
          </Link>
        </Notice>
      )}
      {waiting.length > 0 && (
        <p class="phone" role="status">
          <Link to="/k/unsent">
            {say(
              {
                one: '1 entry is saved on this phone and will be sent when there is network.',
                other: '{n} entries are saved on this phone and will be sent when there is network.',
              },
              { n: waiting.length },
            )}
          </Link>
          {Date.now() - oldest > 24 * 3_600_000 &&
            ` ${say('The oldest waits since {day}: please go online soon.', { day: day(new Date(oldest).toISOString()) })}`}
        </p>
      )}
      {waiting.length === 0 && phase.value === 'offline' && (
        <p class="phone muted" role="status">
          {say('No network. You can read and log as usual.')}
        </p>
      )}
    </>
  );
}
