import type { JSX, TargetedKeyboardEvent, TargetedPointerEvent } from 'preact';
import { useId, useMemo, useState } from 'preact/hooks';
import type { CourseJson } from '../../core/contract';
import { say } from '../../core/say';
import { formatMass } from '../../core/units';
import { entryLine, type Names, standingWord } from '../../core/words';
import { Button } from './controls';
import { type MarkKind, type Plot, plot, size } from './course';
import { useWidth } from './width';

export interface TimeLineProps {
  course: CourseJson;
  names?: Names | undefined;
  /** For tests; the present otherwise. */
  now?: Date | undefined;
}

/** A case as one horizontal line: weight above, offers on the band, steps below, now at the right edge. */
export function TimeLine({ course, names, now }: TimeLineProps): JSX.Element {
  const id = useId();
  const [holder, width] = useWidth(640, 280, Number.POSITIVE_INFINITY);
  const [chosen, setChosen] = useState(-1);
  const [table, setTable] = useState(false);

  const p = useMemo(() => plot(course, width, now ?? new Date(), names), [course, width, now, names]);
  const last = p.stops.length - 1;
  if (last < 0) return <p class="muted">{say('Nothing has been logged since the handover.')}</p>;
  const index = chosen < 0 || chosen > last ? last : chosen;
  const stop = p.stops[index];

  const move = (e: TargetedKeyboardEvent<HTMLElement>) => {
    const targets: Record<string, number> = {
      ArrowLeft: index - 1,
      ArrowDown: index - 1,
      ArrowRight: index + 1,
      ArrowUp: index + 1,
      PageDown: index - 7,
      PageUp: index + 7,
      Home: 0,
      End: last,
    };
    const to = targets[e.key];
    if (to === undefined) return;
    e.preventDefault();
    e.stopPropagation(); // the list behind has its own keys
    setChosen(Math.min(last, Math.max(0, to)));
  };
  const point = (e: TargetedPointerEvent<HTMLElement>) => {
    if (e.type === 'pointermove' && e.pointerType === 'mouse' && e.buttons === 0) return;
    const px = e.clientX - e.currentTarget.getBoundingClientRect().left;
    let best = 0;
    p.stops.forEach((s, i) => {
      if (Math.abs(s.x - px) < Math.abs((p.stops[best]?.x ?? 0) - px)) best = i;
    });
    setChosen(best);
  };

  return (
    <div class="timeline">
      <div
        ref={holder}
        class="plot"
        role="slider"
        tabIndex={0}
        aria-label={say('Time line of the case, by day')}
        aria-orientation="horizontal"
        aria-valuemin={0}
        aria-valuemax={last}
        aria-valuenow={index}
        aria-valuetext={stop?.text}
        onKeyDown={move}
        onPointerDown={point}
        onPointerMove={point}
      >
        <Picture p={p} index={index} id={id} />
      </div>
      <p class="readout" aria-hidden="true">
        {stop?.text}
      </p>
      <Key />
      <Button kind="quiet" icon="list" aria-expanded={table} aria-controls={`${id}-t`} onClick={() => setTable(!table)}>
        {table ? say('Hide the table') : say('Show as a table')}
      </Button>
      <section
        id={`${id}-t`}
        class="scroll"
        hidden={!table}
        aria-label={say('The course as a table')}
        // biome-ignore lint/a11y/noNoninteractiveTabindex: a wide table is scrolled by keyboard
        tabIndex={0}
      >
        {table && (
          <table>
            <thead>
              <tr>
                <th scope="col">{say('Day')}</th>
                <th scope="col">{say('Date')}</th>
                <th scope="col">{say('Weight, likely range')}</th>
                <th scope="col">{say('Expected')}</th>
                <th scope="col">{say('Standing')}</th>
                <th scope="col">{say('What happened')}</th>
              </tr>
            </thead>
            <tbody>
              {p.stops.toReversed().map((s) => (
                <tr key={s.time}>
                  <th scope="row">{s.day}</th>
                  <td>{s.title}</td>
                  <td>
                    {s.mass > 0
                      ? say('{mass} ({low} to {high})', {
                          mass: formatMass(s.mass),
                          low: formatMass(s.low),
                          high: formatMass(s.high),
                        })
                      : '–'}
                  </td>
                  <td>{s.expected > 0 ? formatMass(s.expected) : '–'}</td>
                  <td>{s.standing ? standingWord(s.standing).word : '–'}</td>
                  <td>
                    {s.entries
                      .filter((e) => !e.seen && !e.message)
                      .map((e) => entryLine(e, names))
                      .join('; ') || '–'}
                  </td>
                </tr>
              ))}
            </tbody>
          </table>
        )}
      </section>
    </div>
  );
}

function Picture({ p, index, id }: { p: Plot; index: number; id: string }): JSX.Element {
  const stop = p.stops[index];
  const right = p.width - size.right;
  return (
    <svg viewBox={`0 0 ${p.width} ${p.height}`} width={p.width} height={p.height} aria-hidden="true" focusable="false">
      <defs>
        <linearGradient id={`${id}-g`}>
          <stop offset="0" class="cool" />
          <stop offset="0.5" class="mild" />
          <stop offset="1" class="warm" />
        </linearGradient>
      </defs>
      {p.ticks.map((t) => (
        <g key={t.y}>
          <line class="grid" x1={size.left} x2={right} y1={t.y} y2={t.y} />
          <text class="tick" x={size.left - 6} y={t.y + 4} text-anchor="end">
            {t.label}
          </text>
        </g>
      ))}
      <line class="handover" x1={p.handover} x2={p.handover} y1={size.massTop} y2={size.band + 8} />
      <path class="interval" d={p.interval} />
      <path class="expected" d={p.expected} />
      <path class="mass" d={p.mass} />
      {p.weights.map((w) => (
        <circle key={`${w.x} ${w.y}`} class={w.ours ? 'weight ours' : 'weight'} cx={w.x} cy={w.y} r="3.5" />
      ))}
      {!p.mass && p.weights.length === 0 && (
        <text class="tick" x={p.width / 2} y={size.massTop + size.massHeight / 2} text-anchor="middle">
          {say('No weight on record')}
        </text>
      )}
      <rect
        x={size.left}
        y={size.band}
        width={Math.max(0, right - size.left)}
        height="6"
        rx="3"
        fill={`url(#${id}-g)`}
      />
      {p.marks.map((m) => (
        <Mark key={m.name || `${m.kind} ${m.x}`} kind={m.kind} x={m.x} y={size.offers} />
      ))}
      {p.steps.map((s) => (
        <g key={s.name} class="step">
          <rect x={s.x1} y={s.y} width={s.x2 - s.x1} height="6" rx="3" />
          <text
            x={s.x1 > p.width * 0.6 ? s.x2 : s.x1}
            y={s.y + 18}
            text-anchor={s.x1 > p.width * 0.6 ? 'end' : 'start'}
          >
            {s.label}
          </text>
        </g>
      ))}
      {p.dates.map((d) => (
        <text key={d.x} class="tick" x={d.x} y={p.height - 4} text-anchor={d.anchor}>
          {d.label}
        </text>
      ))}
      {stop && (
        <g class="cursor">
          <line x1={stop.x} x2={stop.x} y1={size.massTop - 8} y2={size.band + 12} />
        </g>
      )}
    </svg>
  );
}

function Mark({ kind, x, y }: { kind: MarkKind; x: number; y: number }): JSX.Element {
  switch (kind) {
    case 'eaten':
      return <circle class="mark full" cx={x} cy={y} r="6" />;
    case 'refused':
      return <circle class="mark" cx={x} cy={y} r="6" />;
    case 'struck':
      return (
        <g>
          <circle class="mark" cx={x} cy={y} r="6" />
          <path class="mark full" d={`M${x} ${y - 6}a6 6 0 0 1 0 12z`} />
        </g>
      );
    case 'regurgitated':
      return (
        <g>
          <circle class="mark" cx={x} cy={y} r="6" />
          <path class="mark" d={`M${x - 6} ${y - 6}l12 12m0-12l-12 12`} />
        </g>
      );
    case 'sign':
      return <path class="mark sign" d={`M${x} ${y - 16}l6 10h-12z`} />;
    case 'shed':
      return <path class="mark" d={`M${x - 6} ${y - 11}q3 -5 6 0t6 0`} />;
  }
}

const keyWords: [MarkKind, string][] = [
  ['eaten', say('ate')],
  ['refused', say('did not take')],
  ['struck', say('struck, let go')],
  ['regurgitated', say('brought up')],
  ['shed', say('shed')],
  ['sign', say('sign seen')],
];

function Key(): JSX.Element {
  return (
    <ul class="key" aria-hidden="true">
      {keyWords.map(([kind, word]) => (
        <li key={kind}>
          <svg viewBox="0 0 16 16" aria-hidden="true" focusable="false">
            <Mark kind={kind} x={8} y={kind === 'sign' ? 19 : kind === 'shed' ? 19 : 8} />
          </svg>
          {word}
        </li>
      ))}
      <li>
        <svg viewBox="0 0 16 16" aria-hidden="true" focusable="false">
          <path class="expected" d="M0 8h16" />
        </svg>
        {say('an ordinary fast')}
      </li>
    </ul>
  );
}
