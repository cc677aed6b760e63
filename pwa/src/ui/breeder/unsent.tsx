import type { JSX } from 'preact';
import { listed, say, within } from '../../core/say';

import { ago } from '../../core/time';
import { entryLine } from '../../core/words';
import type { Item } from '../../store/db';
import { Link } from './nav';
import { waiting } from './table';

/** What an item says, in one line. */
export function line(i: Item): string {
  if (!i.sale) return i.entry ? entryLine(i.entry) : say('A picture');
  const sold = i.card ? say('Sold with card {card}', { card: i.card }) : say('Sold');
  return i.undone ? say('Taken back: {sold}', { sold: within(sold) }) : sold;
}

/** Entries and sales, in words. */
function count(items: readonly Item[]): string {
  const sales = items.filter((i) => i.sale).length;
  const entries = items.length - sales;
  return listed(
    [
      sales > 0 && say({ one: '1 sale', other: '{n} sales' }, { n: sales }),
      entries > 0 && say({ one: '1 entry', other: '{n} entries' }, { n: entries }),
    ].filter((part) => part !== false),
  );
}

/** On every screen, while something is only on this device. */
export function UnsentBar(): JSX.Element | null {
  const all = waiting.value;
  if (all.length === 0) return null;
  const dead = all.filter((i) => i.state === 'dead');
  return (
    <p class="unsent" role="status">
      <Link to="/b/unsent">
        {dead.length > 0
          ? say({ one: '{count} needs you', other: '{count} need you' }, { n: dead.length, count: count(dead) })
          : say(
              { one: '{count} is only on this device', other: '{count} are only on this device' },
              { n: all.length, count: count(all) },
            )}
      </Link>
    </p>
  );
}

/** Of one animal, at the top of its log. */
export function UnsentOf({ animal }: { animal: string }): JSX.Element | null {
  const mine = waiting.value.filter((i) => i.animal === animal);
  if (mine.length === 0) return null;
  return (
    <ul class="list history" aria-label={say('Not sent yet')}>
      {mine.map((i) => (
        <li key={i.seq}>
          <p>{line(i)}</p>
          <p class="muted">
            {ago(i.entry?.happenTime ?? i.sale?.handoverTime)},{' '}
            {i.state === 'dead' ? (
              <Link to="/b/unsent">{say('not taken by the service: needs you')}</Link>
            ) : (
              say('not sent yet')
            )}
            {i.entry?.note && `. ${i.entry.note}`}
          </p>
        </li>
      ))}
    </ul>
  );
}
