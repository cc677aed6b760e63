import type { ComponentChildren, JSX } from 'preact';
import { useState } from 'preact/hooks';
import { parseClaimCode } from '../../core/code';
import { say } from '../../core/say';
import { Screen } from '../nav';
import { ThermalBand } from '../parts/band';
import { Button, Field } from '../parts/controls';

/** A screen that takes ten characters and catches a slip before any network. */
export function CodeBox({
  title,
  label,
  button,
  onCode,
  children,
  below,
}: {
  title: string;
  label: string;
  button: string;
  onCode: (code: string) => void;
  children: ComponentChildren;
  below?: ComponentChildren;
}): JSX.Element {
  const [text, setText] = useState('');
  const [error, setError] = useState('');
  return (
    <Screen title={title} above={<ThermalBand />} back="/">
      {children}
      <form
        class="stack grow"
        onSubmit={(e) => {
          e.preventDefault();
          const p = parseClaimCode(text);
          if (p.ok) onCode(p.code);
          else setError(p.problem);
        }}
      >
        <div class="number code">
          <Field
            label={label}
            value={text}
            onInput={(v) => {
              setText(v.toUpperCase());
              const p = parseClaimCode(v);
              // While it is being typed only what cannot become right is said.
              setError(p.ok || p.typed < 10 ? '' : p.problem);
            }}
            error={error || undefined}
            maxLength={24}
            autoComplete="off"
            hint={say('Small letters are fine. There is no letter O or I in it: those are zero and one.')}
          />
        </div>
        <div class="actions foot">
          <Button kind="main" type="submit">
            {button}
          </Button>
        </div>
      </form>
      {below}
    </Screen>
  );
}
