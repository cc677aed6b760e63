import type { JSX } from 'preact';
import { say } from '../../core/say';

/**
 * The thermal band, warm at one end and cool at the other. With `at` (0 to 1) it
 * shows how far something has come and needs a `label`; without, it is a rule.
 */
export function ThermalBand({ at, label }: { at?: number | undefined; label?: string | undefined }): JSX.Element {
  if (at === undefined) return <div class="band" aria-hidden="true" />;
  const part = Math.min(1, Math.max(0, Number.isFinite(at) ? at : 0));
  return (
    <div
      class="band progress"
      role="progressbar"
      aria-label={label ?? say('Progress')}
      aria-valuemin={0}
      aria-valuemax={100}
      aria-valuenow={Math.round(part * 100)}
    >
      <span style={{ insetInlineStart: `${part * 100}%` }} />
    </div>
  );
}
