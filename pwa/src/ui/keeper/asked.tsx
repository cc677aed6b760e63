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
  const breederName = c.breederName || say('your breeder');
  if (daysSince(next.dueTime, now) < 0) {
    const [on, question] = [day(next.dueTime, now), next.question];
    return (
      <p>
        {next.own
          ? say('Next, {day}, {breederName} asks: “{question}”', { day: on, breederName, question })
          : say('Next, {day}: “{question}”', { day: on, question })}{' '}
        {say('Nothing to write down until then, unless something worries you.')}
      </p>
    );
  }
  const to = caseAddress(c.name ?? '', askPlaces[next.ask ?? ''] ?? 'thread');
  return (
    <div class="stack">
      {next.own && <p>{say('{breederName} asks: “{question}”', { breederName, question: next.question })}</p>}
      <Link to={to} class="button wide">
        <span>{next.own ? (answers[next.ask ?? ''] ?? say('Answer')) : next.question}</span>
      </Link>
    </div>
  );
}
