import type { JSX } from 'preact';
import { idOf } from '../../core/ids';
import { say } from '../../core/say';
import { ago } from '../../core/time';
import type { Item } from '../../store/db';
import { Button, Notice } from '../parts/controls';
import { Refused } from '../parts/refused';
import { RefusedSale } from './conflict';
import { useLoad } from './hooks';
import { Heading, Link } from './nav';
import { loadWaiting, send, sending, stockCopy, waiting } from './table';
import { line } from './unsent';

export default function UnsentPage(): JSX.Element {
  const names = useLoad('unsent', async () => {
    const animals = (await stockCopy())?.animals ?? [];
    return new Map(animals.map((s) => [s.animal?.name, s.animal?.displayName]));
  });
  const done = () => void loadWaiting().then(send);
  const dead = waiting.value.filter((i) => i.state === 'dead');
  const queued = waiting.value.filter((i) => i.state === 'queued');
  const whose = (i: Item) => (
    <Link to={`/b/animals/${idOf(i.animal)}`}>{names.data?.get(i.animal) || say('An animal without label')}</Link>
  );
  return (
    <main class="page stack">
      <Heading>{say('On this device, not sent yet')}</Heading>
      {waiting.value.length === 0 && (
        <Notice kind="good" live>
          <p>{say('Everything has been sent. Nothing is only on this device.')}</p>
        </Notice>
      )}
      {dead.length > 0 && (
        <section class="stack" aria-labelledby="needs">
          <h2 id="needs">{say('Needs you')}</h2>
          {dead.map((i) =>
            i.sale ? (
              <RefusedSale key={i.seq} item={i} what={line(i)} whose={whose(i)} done={done} />
            ) : (
              <Refused key={i.seq} item={i} what={line(i)} whose={whose(i)} done={done} />
            ),
          )}
        </section>
      )}
      {queued.length > 0 && (
        <section class="stack" aria-labelledby="waits">
          <h2 id="waits">{say('Waits for network')}</h2>
          <ul class="list history">
            {queued.map((i) => (
              <li key={i.seq}>
                <p>{line(i)}</p>
                <p class="muted">
                  {say('{whose}, saved {ago}', { whose: whose(i), ago: ago(new Date(i.savedAt).toISOString()) })}
                </p>
              </li>
            ))}
          </ul>
          <p class="muted">{say('It is sent by itself while the app is open and there is network.')}</p>
          <div class="actions">
            <Button kind="main" busy={sending.value} onClick={() => void send()}>
              {say('Send now')}
            </Button>
          </div>
        </section>
      )}
    </main>
  );
}
