import type { JSX } from 'preact';
import { useEffect } from 'preact/hooks';
import type { CaseJson } from '../../core/contract';
import { caseAddress } from '../../core/ids';
import { say } from '../../core/say';
import { markRead } from '../../store/copies';
import { phase, syncNow } from '../../sync/sync';
import { Screen } from '../nav';
import { Thread } from '../parts/thread';
import { PhoneState } from './home';
import { known, linesOf, load, save, unread } from './state';

export default function Talk({ c }: { c: CaseJson }): JSX.Element {
  const lines = linesOf(c);
  const unsent = new Set(lines.filter((l) => l.item).map((l) => l.entry.name ?? ''));
  const newest = unread(c)[0]?.happenTime;
  useEffect(() => {
    if (!newest) return;
    void markRead(c.name ?? '', newest)
      .then(load)
      .then(syncNow) // tells the breeder
      .catch(() => undefined); // else it stays new
  }, [newest, c.name]);
  const draft = `message ${c.name}`;
  return (
    <Screen
      title={say('You and {breederName}', { breederName: c.breederName || say('your breeder') })}
      back={caseAddress(c.name ?? '')}
    >
      <Thread
        case={c.name ?? ''}
        me="keeper"
        entries={lines.map((l) => l.entry)}
        breederName={c.breederName}
        names={{ signs: known.value?.signs, points: known.value?.points }}
        unsent={unsent}
        receipts={{ read: c.seenTime }}
        draft={draft}
        onSend={({ text, photos }) =>
          save({
            case: c,
            entry: {
              happenTime: new Date().toISOString(),
              message: { text, ...(photos.length > 0 && { photos: photos.map((x) => x.id) }) },
            },
            photos,
            draft,
          })
        }
        closed={c.endTime ? say('This follow-up has ended. Your breeder can open it again.') : undefined}
      />
      {phase.value === 'offline' && (
        <p class="muted">
          {say('You can write without network; it is sent later. In an emergency call a reptile vet.')}
        </p>
      )}
      <p class="muted">{say('Your breeder sees when a message has arrived here and was read.')}</p>
      <PhoneState />
    </Screen>
  );
}
