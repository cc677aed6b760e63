import type { JSX } from 'preact';
import type { StandingJson } from '../../core/contract';
import { standingWord } from '../../core/words';

const shapes: Record<'circle' | 'half' | 'triangle' | 'square', JSX.Element> = {
  circle: <circle cx="8" cy="8" r="5.5" class="hollow" />,
  half: (
    <>
      <circle cx="8" cy="8" r="5.5" class="hollow" />
      <path d="M8 2.5a5.5 5.5 0 0 1 0 11z" />
    </>
  ),
  triangle: <path d="M8 1.5L15 14H1z" />,
  square: <path d="M2 2h12v12H2z" />,
};

/** A standing by its word and its shape; colour only says it again. */
export function Standing({
  standing,
  big,
  keeper,
}: {
  standing: StandingJson | undefined;
  big?: boolean | undefined;
  /** In the keeper's words, which say what it means for them. */
  keeper?: boolean | undefined;
}): JSX.Element {
  const s = standingWord(standing);
  return (
    <span class={`standing place-${s.place}${big ? ' big' : ''}${keeper ? ' sentence' : ''}`}>
      <svg viewBox="0 0 16 16" aria-hidden="true" focusable="false">
        {shapes[s.shape]}
      </svg>
      <span>{keeper ? s.keeper : s.word}</span>
    </span>
  );
}
