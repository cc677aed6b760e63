import type { JSX } from 'preact';
import type { CaseJson } from '../../core/contract';
import { say } from '../../core/say';
import { ago } from '../../core/time';

/** How far an animal is on its way back: what is done has its time, what comes next stands out. */
export function Stages({ c }: { c: CaseJson }): JSX.Element {
  const list = [
    { word: say('Asked'), at: c.giveBackTime },
    { word: say('Agreed how'), at: c.returnAgreeTime },
    { word: say('On its way'), at: c.returnLeaveTime },
    { word: say('Arrived'), at: undefined },
  ];
  const next = list.findIndex((s) => !s.at);
  return (
    <ol class="stages">
      {list.map((s, i) => (
        <li key={s.word} aria-current={i === next ? 'step' : undefined}>
          <span>{s.word}</span> <span class="muted">{s.at ? ago(s.at) : i === next ? 'next' : 'later'}</span>
        </li>
      ))}
    </ol>
  );
}
