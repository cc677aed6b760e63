import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import { ApiError, Offline } from '../../api/client';
import { say } from '../../core/say';
import { Button, Failed } from './controls';
import { give } from './pdf';

/** Hands the record that the breeder's key signed to the browser to keep. */
export function SaveSigned({ fetch }: { fetch: () => Promise<Blob> }): JSX.Element {
  const [busy, setBusy] = useState(false);
  const [said, setSaid] = useState('');
  const [problem, setProblem] = useState('');
  const run = async () => {
    setBusy(true);
    setSaid('');
    setProblem('');
    try {
      give(await fetch(), 'handover-record.jws');
      setSaid(say('handover-record.jws is with your downloads.'));
    } catch (e) {
      if (!(e instanceof ApiError || e instanceof Offline)) throw e;
      setProblem(e.message);
    } finally {
      setBusy(false);
    }
  };
  return (
    <div class="stack unprinted">
      <p class="muted">
        {say(
          'The signed record is a file that shows others that this breeder wrote it and nobody changed it. They need no account: they {link}.',
          { link: <a href="/r">{say('check it on a page')}</a> },
        )}
      </p>
      <Failed text={problem} />
      <div class="actions">
        <Button icon="key" busy={busy} onClick={() => void run()}>
          {say('Save the signed record')}
        </Button>
      </div>
      <p class="muted" role="status">
        {said}
      </p>
    </div>
  );
}
