import type { JSX } from 'preact';
import { idOf } from '../../core/ids';
import { ago } from '../../core/time';
import { entryLine } from '../../core/words';
import type { Item } from '../../store/db';
import { Button, Notice } from '../parts/controls';
import { Refused } from '../parts/refused';
import { useLoad } from './hooks';
import { Heading, Link } from './nav';
import { loadWaiting, send, sending, stockCopy, waiting } from './table';

const line = (i: Item) => (i.entry ? entryLine(i.entry) : 'A picture');

/** On every screen, while something is only on this device. */
export function UnsentBar(): JSX.Element | null {
  const all = waiting.value;
  if (all.length === 0) return null;
  const dead = all.filter((i) => i.state === 'dead').length;
  return (
    <p class="unsent" role="status">
      <Link to="/b/unsent">
        {dead > 0
          ? dead === 1
            ? '1 entry needs you'
            : `${dead} entries need you`
          : all.length === 1
            ? '1 entry is only on this device'
            : `${all.length} entries are only on this device`}
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
            {ago(i.entry?.happenTime)},{' '}
            {i.state === 'dead' ? <Link to="/b/unsent">not taken by the service: needs you</Link> : 'not sent yet'}
            {i.entry?.note && `. ${i.entry.note}`}
          </p>
        </li>
      ))}
    </ul>
  );
}

export function UnsentPage(): JSX.Element {
  const names = useLoad('unsent', async () => {
    const animals = (await stockCopy())?.animals ?? [];
    return new Map(animals.map((s) => [s.animal?.name, s.animal?.displayName]));
  });
  const dead = waiting.value.filter((i) => i.state === 'dead');
  const queued = waiting.value.filter((i) => i.state === 'queued');
  const whose = (i: Item) => (
    <Link to={`/b/animals/${idOf(i.animal)}`}>{names.data?.get(i.animal) || 'An animal without label'}</Link>
  );
  return (
    <main class="page stack">
      <Heading>On this device, not sent yet</Heading>
      {waiting.value.length === 0 && (
        <Notice kind="good" live>
          <p>Everything has been sent. Nothing is only on this device.</p>
        </Notice>
      )}
      {dead.length > 0 && (
        <section class="stack" aria-labelledby="needs">
          <h2 id="needs">Needs you</h2>
          {dead.map((i) => (
            <Refused key={i.seq} item={i} what={line(i)} whose={whose(i)} done={() => void loadWaiting().then(send)} />
          ))}
        </section>
      )}
      {queued.length > 0 && (
        <section class="stack" aria-labelledby="waits">
          <h2 id="waits">Waits for network</h2>
          <ul class="list history">
            {queued.map((i) => (
              <li key={i.seq}>
                <p>{line(i)}</p>
                <p class="muted">
                  {whose(i)}, saved {ago(new Date(i.savedAt).toISOString())}
                </p>
              </li>
            ))}
          </ul>
          <p class="muted">It is sent by itself while the app is open and there is network.</p>
          <div class="actions">
            <Button kind="main" busy={sending.value} onClick={() => void send()}>
              Send now
            </Button>
          </div>
        </section>
      )}
    </main>
  );
}
