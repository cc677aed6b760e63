import type { ComponentChildren, JSX } from 'preact';
import { say } from '../../core/say';
import { useWidth } from '../parts/width';

/** What a plot over the days after the handover has around its lines, in pixels. */
export interface DayFrame {
  ticks: { y: number; label: string }[];
  days: { x: number; label: string }[];
  /** Where the plot ends at the right. */
  right: number;
}

interface DayPlotProps<P extends DayFrame> {
  name: string;
  size: { height: number; left: number; top: number; bottom: number };
  /** The plot at a width in pixels. */
  plot: (width: number) => P;
  children: (plot: P) => ComponentChildren;
}

/** A plot over the days after the handover, as wide as there is room. What it says stands in a table beside it. */
export function DayPlot<P extends DayFrame>({ name, size, plot, children }: DayPlotProps<P>): JSX.Element {
  const [holder, width] = useWidth(600, 260, 760);
  const p = plot(width);
  const { left, top, height, bottom } = size;
  return (
    <div ref={holder} class={`day-plot ${name}`}>
      <svg viewBox={`0 0 ${width} ${height}`} width={width} height={height} aria-hidden="true" focusable="false">
        {p.ticks.map((t) => (
          <g key={t.label}>
            <line class="grid" x1={left} x2={p.right} y1={t.y} y2={t.y} />
            <text class="tick" x={left - 6} y={t.y + 5} text-anchor="end">
              {t.label}
            </text>
          </g>
        ))}
        {p.days.map((d) => (
          <text key={d.label} class="tick" x={d.x} y={height - bottom + 20} text-anchor="middle">
            {d.label}
          </text>
        ))}
        <text class="tick" x={p.right} y={height - 4} text-anchor="end">
          {say('days after the handover')}
        </text>
        {children(p)}
        <line class="axis" x1={left} x2={left} y1={top} y2={height - bottom} />
      </svg>
    </div>
  );
}
