import type { ComponentChildren, JSX } from 'preact';

/** Terms and what they are; what is empty is left out. */
export function Facts({ of }: { of: readonly (readonly [string, ComponentChildren])[] }): JSX.Element {
  return (
    <dl class="facts">
      {of.map(
        ([term, what]) =>
          what && (
            <div key={term}>
              <dt>{term}</dt>
              <dd>{what}</dd>
            </div>
          ),
      )}
    </dl>
  );
}
