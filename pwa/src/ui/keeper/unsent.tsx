import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import type { CaseJson } from '../../core/contract';
import { caseAddress } from '../../core/ids';
import { ago } from '../../core/time';
import { formatMass, formatTemp } from '../../core/units';
import { entryLine } from '../../core/words';
import type { Item } from '../../store/db';
import { confirmed, drop, hurry, sendAgain } from '../../store/outbox';
import { part, phase, syncNow } from '../../sync/sync';
import { Link, Screen } from '../nav';
import { Button, Notice } from '../parts/controls';
import { animalName, known, load } from './state';

export default function Unsent(): JSX.Element {
  const items = (known.value?.outbox ?? []).filter((i) => !i.entry?.seen);
  const dead = items.filter((i) => i.state === 'dead');
  const waiting = items.filter((i) => i.state === 'queued');
  const caseOf = (i: Item) => known.value?.cases.find((c) => c.name === i.case);
  return (
    <Screen title="On this phone, not sent yet" back="/">
      {items.length === 0 && (
        <Notice kind="good" live>
          <p>Everything has been sent. Nothing is only on this phone.</p>
        </Notice>
      )}
      {dead.length > 0 && (
        <section class="stack" aria-labelledby="needs">
          <h2 id="needs">Needs you</h2>
          {dead.map((i) => (
            <Refused key={i.seq} item={i} c={caseOf(i)} />
          ))}
        </section>
      )}
      {waiting.length > 0 && (
        <section aria-labelledby="waits">
          <h2 id="waits">Waits for network</h2>
          <ul class="list">
            {waiting.map((i) => (
              <li key={i.seq}>
                {what(i)}
                <span class="muted block">
                  {animalNameOf(caseOf(i))}, saved {ago(new Date(i.savedAt).toISOString())}
                  {part.value?.id === i.id && `, ${Math.round(100 * part.value.part)} % sent`}
                  {i.tries > 0 && `, tried ${i.tries === 1 ? 'once' : `${i.tries} times`}`}
                </span>
                {i.after.some((id) => dead.some((d) => d.id === id)) && (
                  <span class="block">It waits for what needs you above.</span>
                )}
              </li>
            ))}
          </ul>
        </section>
      )}
      <p class="muted">
        {'sync' in ServiceWorkerRegistration.prototype
          ? 'It is sent by itself when there is network, even when the app is closed.'
          : 'It is sent when the app is open and there is network. So open the app now and then.'}
      </p>
      {waiting.length > 0 && (
        <div class="actions foot">
          <Button kind="main" busy={phase.value === 'sending'} onClick={() => void hurry().then(syncNow)}>
            Send now
          </Button>
        </div>
      )}
    </Screen>
  );
}

function what(i: Item): string {
  return i.entry ? entryLine(i.entry, { signs: known.value?.signs, points: known.value?.points }) : 'A picture';
}

function animalNameOf(c: CaseJson | undefined): string {
  return c ? animalName(c) : 'Not on this phone any more';
}

function Refused({ item, c }: { item: Item; c: CaseJson | undefined }): JSX.Element {
  const [asking, setAsking] = useState(false);
  const slip = item.error?.reason === 'LIKELY_SLIP';
  const after = async (work: Promise<unknown>) => {
    await work;
    await load();
    void syncNow();
  };
  const e = item.entry;
  const mayChange = c && e && (e.offer || e.weighIn || e.climate || e.shed || e.sign);
  return (
    <article class="card stack" aria-label={what(item)}>
      <p class="lead">{slip ? `Is ${askedValue(item)} right?` : what(item)}</p>
      <p>{item.error?.message}</p>
      <p class="muted">
        {animalNameOf(c)}, saved {ago(new Date(item.savedAt).toISOString())}
      </p>
      {asking ? (
        <div class="actions">
          <span>It will be gone for good.</span>
          <Button kind="danger" onClick={() => void after(drop(item.seq))}>
            Drop it
          </Button>
          <Button onClick={() => setAsking(false)}>Keep it</Button>
        </div>
      ) : (
        <div class="actions">
          {slip && (
            <Button kind="main" onClick={() => void after(confirmed(item))}>
              Yes, it is right
            </Button>
          )}
          {mayChange && (
            <Link to={caseAddress(c.name ?? '', `history/${item.id}/change`)} class="button">
              Change it
            </Link>
          )}
          {!slip && <Button onClick={() => void after(sendAgain(item.seq))}>Send again</Button>}
          <Button kind="quiet" onClick={() => setAsking(true)}>
            Drop it
          </Button>
        </div>
      )}
    </article>
  );
}

/** The value that the service asks about, in the person's unit. */
function askedValue(i: Item): string {
  if (i.entry?.weighIn) return formatMass(Number(i.entry.weighIn.massG));
  if (i.entry?.offer) return `prey of ${formatMass(Number(i.entry.offer.preyG))}`;
  const value = Number(i.error?.meta['value']);
  if (i.entry?.climate && Number.isFinite(value)) return formatTemp(value);
  return 'this';
}
