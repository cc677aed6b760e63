import type { JSX } from 'preact';
import type { CaseJson } from '../../core/contract';
import { caseAddress } from '../../core/ids';
import { say } from '../../core/say';
import { day, daysSince } from '../../core/time';
import { askPlaces } from '../../core/words';
import { Link } from '../nav';
import { linesOf } from './state';

/** What the answer to a question in the breeder's words is, by what it asks for. */
const answers: Record<string, string> = {
  offer: say('Log how it went'),
  weigh: say('Log the weight'),
  climate: say('Log what you measure'),
  setup: say('Open the checklist'),
};

/** The question that is due, or the next one and until when nothing need be written down. Nothing beside a thing to do, or while an answer waits to be sent. */
export function Asked({ c, busy, now = new Date() }: { c: CaseJson; busy: boolean; now?: Date }): JSX.Element | null {
  const next = c.assessment?.checkIns?.[0];
  if (!next?.dueTime || busy || linesOf(c).some((l) => l.item && !l.entry.seen)) return null;
  const from = next.own ? say('{breederName} asks', { breederName: c.breederName || say('your breeder') }) : '';
  if (daysSince(next.dueTime, now) < 0) {
    return (
      <p>
        {say('Next, {day}{from}: “{question}” Nothing to write down until then, unless something worries you.', {
          day: day(next.dueTime, now),
          from: from && `, ${from}`,
          question: next.question,
        })}
      </p>
    );
  }
  const to = caseAddress(c.name ?? '', askPlaces[next.ask ?? ''] ?? 'thread');
  return (
    <div class="stack">
      {from && (
        <p>
          {from[0]?.toUpperCase() + from.slice(1)}: “{next.question}”
        </p>
      )}
      <Link to={to} class="button wide">
        <span>{from ? (answers[next.ask ?? ''] ?? say('Answer')) : next.question}</span>
      </Link>
    </div>
  );
}
