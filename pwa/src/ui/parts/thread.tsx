import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import type { EntryJson } from '../../core/contract';
import { ago } from '../../core/time';
import { entryLine, type Names } from '../../core/words';
import { Button, Field, Notice } from './controls';

export interface ThreadProps {
  /** Any entries; messages and agreed steps are picked, oldest first. */
  entries: readonly EntryJson[];
  /** Whose screen it is: their own messages stand on the other side. */
  me: 'breeder' | 'keeper';
  breederName?: string | undefined;
  keeperName?: string | undefined;
  names?: Names | undefined;
  /** Sends or stores the message. When it throws, the text stays in the box and the error is shown. */
  onSend?: ((text: string) => Promise<unknown> | undefined) | undefined;
  /** Shown instead of the box, such as that the follow-up has ended. */
  closed?: string | undefined;
  /** Names of entries that are still on this device only. */
  unsent?: ReadonlySet<string> | undefined;
}

/** What breeder and keeper wrote to each other, with the steps they agreed. */
export function Thread(p: ThreadProps): JSX.Element {
  const [text, setText] = useState('');
  const [busy, setBusy] = useState(false);
  const [error, setError] = useState('');
  const shown = p.entries
    .filter((e) => (e.message || e.step) && !e.replacedBy)
    .sort((a, b) => (a.happenTime ?? '').localeCompare(b.happenTime ?? ''));
  const who = (e: EntryJson) => {
    const keeper = e.by === 'ACTOR_KIND_KEEPER' || (!e.by && p.me === 'keeper');
    if ((p.me === 'keeper') === keeper) return 'You';
    return keeper ? p.keeperName || 'Keeper' : p.breederName || 'Breeder';
  };
  const send = async () => {
    const trimmed = text.trim();
    if (!trimmed || !p.onSend) return;
    setBusy(true);
    setError('');
    try {
      await p.onSend(trimmed);
      setText('');
    } catch (e) {
      setError(e instanceof Error ? e.message : String(e));
    } finally {
      setBusy(false);
    }
  };
  return (
    <div class="thread">
      {shown.length === 0 && <p class="muted">Nothing written yet.</p>}
      <ol>
        {shown.map((e) => {
          const name = who(e);
          return (
            <li key={e.name} class={`${e.step ? 'agreed' : 'said'} ${name === 'You' ? 'mine' : 'theirs'}`}>
              <p class="meta">
                {name}, {ago(e.happenTime)}
                {p.unsent?.has(e.name ?? '') && ' (not sent yet)'}
              </p>
              <p class="text">{entryLine(e, p.names)}</p>
              {e.step && e.note && <p class="muted">{e.note}</p>}
            </li>
          );
        })}
      </ol>
      {p.closed && <p class="muted">{p.closed}</p>}
      {p.onSend && !p.closed && (
        <form
          class="stack"
          onSubmit={(e) => {
            e.preventDefault();
            void send();
          }}
        >
          <Field label="Message" value={text} onInput={setText} lines={2} maxLength={4000} />
          {error && (
            <Notice kind="bad" live>
              <p>{error}</p>
            </Notice>
          )}
          <div class="actions">
            <Button kind="main" type="submit" icon="message" busy={busy} disabled={!text.trim()}>
              Send
            </Button>
          </div>
        </form>
      )}
    </div>
  );
}
