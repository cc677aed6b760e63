import type { JSX } from 'preact';
import type { ReadinessJson, ReadyPointJson, StockAnimalJson } from '../../api/gen/warmhand/v1/animal_service_pb';
import { say } from '../../core/say';
import { Notice } from '../parts/controls';

/** Ready, not yet, or with a keeper: by a word and a shape; colour only says it again. */
export function ReadyWord({ of }: { of: StockAnimalJson }): JSX.Element {
  if (of.away)
    return (
      <Word
        word={
          of.outcome === 'OUTCOME_DIED'
            ? say('Died')
            : of.outcome && of.outcome !== 'OUTCOME_UNSPECIFIED'
              ? say('Sold')
              : say('Handed over')
        }
        place={0}
        shape="M2 8h9M7.500 4L12 8l-4.500 4"
      />
    );
  if (of.readiness?.ready) return <Word word={say('Ready')} place={1} shape="M2.500 8.500l3.500 3.500L13.500 4" />;
  return <Word word={say('Not yet')} place={2} shape="M4 2h8M4 14h8M5 2c0 7 6 5 6 12M11 2c0 7-6 5-6 12" />;
}

function Word({ word, place, shape }: { word: string; place: number; shape: string }): JSX.Element {
  return (
    <span class={`standing place-${place}`}>
      <svg viewBox="0 0 16 16" aria-hidden="true" focusable="false">
        <path class="hollow" d={shape} />
      </svg>
      <span>{word}</span>
    </span>
  );
}

const groups: { verdict: ReadyPointJson['verdict']; title: string }[] = [
  { verdict: 'READY_VERDICT_NOT_YET', title: say('What is missing') },
  { verdict: 'READY_VERDICT_TELL_BUYER', title: say('What the buyer must hear') },
  { verdict: 'READY_VERDICT_MET', title: say('What speaks for it') },
];

/** Each point with its reason, what keeps it back first. */
export function ReadyPoints({ r }: { r: ReadinessJson }): JSX.Element {
  return (
    <>
      {groups.map(({ verdict, title }) => {
        const points = (r.points ?? []).filter((p) => p.verdict === verdict);
        if (points.length === 0) return null;
        const list = (
          <ul class="points">
            {points.map((p) => (
              <li key={p.code}>
                {p.missing && <strong>{sentence(p.missing)} </strong>}
                {p.text}
              </li>
            ))}
          </ul>
        );
        return verdict === 'READY_VERDICT_TELL_BUYER' ? (
          <Notice key={title} kind="warn" title={title}>
            {list}
          </Notice>
        ) : (
          <div key={title}>
            <h3>{title}</h3>
            {list}
          </div>
        );
      })}
      <details>
        <summary>{say('Where the rule comes from')}</summary>
        <p class="muted">
          {say(
            'No standard says when a snake is ready. The numbers are rows of “ready” in the tables. It is advice: you can hand an animal over at any time.',
          )}
        </p>
        <ul class="points muted">
          {(r.points ?? []).map((p) => (
            <li key={p.code}>
              {p.text} <em>{p.source}</em>
            </li>
          ))}
        </ul>
      </details>
    </>
  );
}

function sentence(words: string): string {
  return `${words.charAt(0).toUpperCase()}${words.slice(1)}.`;
}
