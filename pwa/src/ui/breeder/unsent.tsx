import type { JSX } from 'preact';
import { ago } from '../../core/time';
import { entryLine } from '../../core/words';
import type { Item } from '../../store/db';
import { Link } from './nav';
import { waiting } from './table';

/** What an item says, in one line. */
export function line(i: Item): string {
  if (!i.sale) return i.entry ? entryLine(i.entry) : 'A picture';
  const sold = i.card ? `Sold with card ${i.card}` : 'Sold';
  return i.undone ? `Taken back: ${sold.toLowerCase()}` : sold;
}

/** Entries and sales, in words. */
function count(items: readonly Item[]): string {
  const sales = items.filter((i) => i.sale).length;
  const entries = items.length - sales;
  return [
    sales > 0 && (sales === 1 ? '1 sale' : `${sales} sales`),
    entries > 0 && (entries === 1 ? '1 entry' : `${entries} entries`),
  ]
    .filter(Boolean)
    .join(' and ');
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
          ? `${count(dead)} ${dead.length === 1 ? 'needs' : 'need'} you`
          : `${count(all)} ${all.length === 1 ? 'is' : 'are'} only on this device`}
      </Link>
    </p>
  );
}

/** Of one animal, at the top of its log. */
export function UnsentOf({ animal }: { animal: string }): JSX.Element | null {
  const mine = waiting.value.filter((i) => i.animal === animal);
  if (mine.length === 0) return null;
  return (
    <ul class="list history" aria-label="Not sent yet">
      {mine.map((i) => (
        <li key={i.seq}>
          <p>{line(i)}</p>
          <p class="muted">
            {ago(i.entry?.happenTime ?? i.sale?.handoverTime)},{' '}
            {i.state === 'dead' ? <Link to="/b/unsent">not taken by the service: needs you</Link> : 'not sent yet'}
            {i.entry?.note && `. ${i.entry.note}`}
          </p>
        </li>
      ))}
    </ul>
  );
}
