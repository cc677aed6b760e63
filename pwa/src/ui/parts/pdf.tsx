import type { ComponentChildren, JSX } from 'preact';
import { useState } from 'preact/hooks';
import { Offline } from '../../api/client';
import { say } from '../../core/say';
import { changeSettings, settings } from '../../core/settings';
import { Button, Failed, Field } from './controls';

export interface SavePdfProps {
  /** What the button does. */
  label: string;
  /** Of the file, without its ending. */
  name: string;
  fetch: (paper: 'a4' | 'letter') => Promise<Blob>;
  main?: boolean | undefined;
  disabled?: boolean | undefined;
  /** Further choices, beside that of the paper. */
  children?: ComponentChildren;
}

/** Fetches a PDF for the paper that the person has, and hands it to the browser to keep or print. */
export function SavePdf({ label, name, fetch, main, disabled, children }: SavePdfProps): JSX.Element {
  const [busy, setBusy] = useState(false);
  const [said, setSaid] = useState('');
  const [problem, setProblem] = useState('');
  const run = async () => {
    setBusy(true);
    setSaid('');
    setProblem('');
    try {
      give(await fetch(settings.value.paper), `${name}.pdf`);
      setSaid(say('{name}.pdf is with your downloads. Print it at full size (100 %).', { name }));
    } catch (e) {
      setProblem(
        e instanceof Offline
          ? say(
              'There is no connection to the service just now, and the service makes the PDF. Try again when there is one.',
            )
          : e instanceof Error
            ? e.message
            : String(e),
      );
    } finally {
      setBusy(false);
    }
  };
  return (
    <div class="stack unprinted">
      <div class="row">
        {children}
        <Field
          label={say('Paper')}
          value={settings.value.paper}
          onInput={(v) => changeSettings({ paper: v === 'letter' ? 'letter' : 'a4' })}
          options={[
            { value: 'a4', label: 'A4' },
            { value: 'letter', label: say('US Letter') },
          ]}
        />
      </div>
      <Failed text={problem} />
      <div class="actions">
        <Button kind={main ? 'main' : 'plain'} icon="print" busy={busy} disabled={disabled} onClick={() => void run()}>
          {label}
        </Button>
      </div>
      <p class="muted" role="status">
        {said}
      </p>
    </div>
  );
}

/** Hands a file to the browser to keep. */
export function give(file: Blob, name: string): void {
  const url = URL.createObjectURL(file);
  const a = document.createElement('a');
  a.href = url;
  a.download = name;
  a.click();
  // The browser has taken hold of it by then.
  setTimeout(() => URL.revokeObjectURL(url), 60_000);
}
