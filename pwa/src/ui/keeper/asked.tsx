import type { JSX } from 'preact';
import type { CaseJson } from '../../core/contract';
import { caseAddress } from '../../core/ids';
import { day, daysSince } from '../../core/time';
import { askPlaces } from '../../core/words';
import { Link } from '../nav';
import { linesOf } from './state';

/** The question that is due, or the next one and until when nothing need be written down. Nothing beside a thing to do, or while an answer waits to be sent. */
export function Asked({ c, busy, now = new Date() }: { c: CaseJson; busy: boolean; now?: Date }): JSX.Element | null {
  const next = c.assessment?.checkIns?.[0];
  if (!next?.dueTime || busy || linesOf(c).some((l) => l.item && !l.entry.seen)) return null;
  if (daysSince(next.dueTime, now) < 0) {
    return (
      <p>
        Next, {day(next.dueTime, now)}: “{next.question}” Nothing to write down until then, unless something worries
        you.
      </p>
    );
  }
  return (
    <p>
      <Link to={caseAddress(c.name ?? '', askPlaces[next.ask ?? ''] ?? 'thread')} class="button wide">
        <span>{next.question}</span>
      </Link>
    </p>
  );
}
