import type { ComponentChildren, JSX } from 'preact';
import { useState } from 'preact/hooks';
import { say } from '../../core/say';
import { ago } from '../../core/time';
import { formatMass, formatTemp } from '../../core/units';
import type { Item } from '../../store/db';
import { confirmed, drop, sendAgain } from '../../store/outbox';
import { Button } from './controls';

/** What the service did not take: a person says what becomes of it. */
export function Refused({
  item,
  what,
  whose,
  done,
  change,
  loss = say('It will be gone for good.'),
}: {
  item: Item;
  /** What it says, and of which animal. */
  what: string;
  whose: ComponentChildren;
  /** After the decision. */
  done: () => void;
  /** A way to say it otherwise. */
  change?: ComponentChildren;
  /** What dropping it means. */
  loss?: string | undefined;
}): JSX.Element {
  const [asking, setAsking] = useState(false);
  const slip = item.error?.reason === 'LIKELY_SLIP';
  const after = (work: Promise<unknown>) => void work.then(done);
  return (
    <article class="card stack" aria-label={what}>
      <p class="lead">{slip ? say('Is {value} right?', { value: askedValue(item) }) : what}</p>
      <p>{item.error?.message}</p>
      <p class="muted">{say('{whose}, saved {ago}', { whose, ago: ago(new Date(item.savedAt).toISOString()) })}</p>
      {asking ? (
        <div class="actions">
          <span>{loss}</span>
          <Button kind="danger" onClick={() => after(drop(item.seq))}>
            {say('Drop it')}
          </Button>
          <Button onClick={() => setAsking(false)}>{say('Keep it')}</Button>
        </div>
      ) : (
        <div class="actions">
          {slip && (
            <Button kind="main" onClick={() => after(confirmed(item))}>
              {say('Yes, it is right')}
            </Button>
          )}
          {change}
          {!slip && <Button onClick={() => after(sendAgain(item.seq))}>{say('Send again')}</Button>}
          <Button kind="quiet" onClick={() => setAsking(true)}>
            {say('Drop it')}
          </Button>
        </div>
      )}
    </article>
  );
}

/** The value that the service asks about, in the person's unit. */
function askedValue(i: Item): string {
  if (i.entry?.weighIn) return formatMass(Number(i.entry.weighIn.massG));
  if (i.entry?.offer) return say('prey of {mass}', { mass: formatMass(Number(i.entry.offer.preyG)) });
  const value = Number(i.error?.meta['value']);
  if (i.entry?.climate && Number.isFinite(value)) return formatTemp(value);
  return say('this');
}
