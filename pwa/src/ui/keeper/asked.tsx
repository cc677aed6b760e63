import type { JSX } from 'preact';
import type { CaseJson } from '../../core/contract';
import { caseAddress } from '../../core/ids';
import { day, daysSince } from '../../core/time';
import { Link } from '../nav';
import { linesOf } from './state';

const places: Record<string, string> = { offer: 'offer', weigh: 'weigh' };

/** The question that is due, or until when nothing need be written down. Nothing beside a thing to do, or while an answer waits to be sent. */
export function Asked({ c, busy, now = new Date() }: { c: CaseJson; busy: boolean; now?: Date }): JSX.Element | null {
  const a = c.assessment;
  if (!a?.askTime || busy || linesOf(c).some((l) => l.item && !l.entry.seen)) return null;
  if (daysSince(a.askTime, now) < 0) {
    return <p>Nothing to write down until {day(a.askTime, now)}, unless something worries you.</p>;
  }
  return (
    <p>
      <Link to={caseAddress(c.name ?? '', places[a.ask ?? ''] ?? 'thread')}>{a.question}</Link>
    </p>
  );
}
