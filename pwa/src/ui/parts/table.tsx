import type { ComponentChildren, JSX } from 'preact';

/** A table that is scrolled to the side where it is wider than the screen. An empty head names nothing. */
export function Table({
  label,
  heads,
  laid,
  children,
}: {
  label: string;
  heads: string[];
  /** On a phone each row is a few lines, in which each cell says by its data-head what it is. */
  laid?: boolean;
  children: ComponentChildren;
}): JSX.Element {
  return (
    <section
      class="scroll"
      aria-label={label}
      // biome-ignore lint/a11y/noNoninteractiveTabindex: a wide table is scrolled by keyboard
      tabIndex={0}
    >
      <table class={laid ? 'laid run-in' : undefined}>
        <thead>
          <tr>
            {heads.map((h) =>
              h ? (
                <th key={h} scope="col">
                  {h}
                </th>
              ) : (
                <td key={h} />
              ),
            )}
          </tr>
        </thead>
        <tbody>{children}</tbody>
      </table>
    </section>
  );
}
