import type { JSX } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import { say } from '../../core/say';

/** A place in a picture, in its own pixels from the upper left corner. */
export interface Spot {
  x: number;
  y: number;
}

export interface Marker extends Spot {
  /** What stands in it, such as a number; for the ear, what it is. */
  text?: string;
  words: string;
  kind?: 'pin' | 'tap' | 'corner';
}

const most = 12;
const stepOf: Record<string, [number, number]> = {
  ArrowLeft: [40, 0],
  ArrowRight: [-40, 0],
  ArrowUp: [0, 40],
  ArrowDown: [0, -40],
};

/** Where the picture lies: its left upper corner in the window, and how large a pixel of it is. */
interface View {
  x: number;
  y: number;
  k: number;
}

/**
 * A picture to zoom and move: two fingers, the wheel, or + − and the arrows. Only the
 * transform changes while it moves, so that a phone keeps up. With `onTap` a finger sets a
 * place: while it is down the place shows enlarged above it, and it counts when it is let go;
 * with the keyboard the picture is moved under the cross and Enter sets it. A marker that is
 * chosen is moved by the arrows, a pixel at a time, until Enter or Escape.
 */
export function Stage({
  src,
  alt,
  markers = [],
  outline,
  onTap,
  chosen,
  onMove,
  keys = true,
}: {
  src: string;
  alt: string;
  markers?: readonly Marker[];
  /** Corners of something found, drawn as a closed line. */
  outline?: readonly Spot[] | undefined;
  onTap?: ((spot: Spot) => void) | undefined;
  /** Of the markers, the one that is to be moved. */
  chosen?: number | undefined;
  /** Where it is now; nothing: it stays. */
  onMove?: (spot: Spot | undefined) => void;
  /** Whether arrows move the picture. */
  keys?: boolean;
}): JSX.Element {
  const frame = useRef<HTMLDivElement>(null);
  const moved = useRef<HTMLDivElement>(null);
  const img = useRef<HTMLImageElement>(null);
  const loupe = useRef<HTMLCanvasElement>(null);
  const view = useRef<View>({ x: 0, y: 0, k: 1 });
  const [size, setSize] = useState<{ w: number; h: number } | undefined>();
  const [missing, setMissing] = useState(false);
  const fingers = useRef(new Map<number, { x: number; y: number }>());
  /** The finger that sets a place, or that moves the picture. */
  const gesture = useRef<{ from: { x: number; y: number }; tap: boolean; moving: boolean } | undefined>(undefined);

  /** Where the frame lies in the window: looked up when a movement begins, for asking lays the page out. */
  const box = useRef({ left: 0, top: 0, w: 0, h: 0 });
  const drawing = useRef<{ frame: number; k: number }>({ frame: 0, k: 0 });
  const find = () => {
    const f = frame.current;
    const r = f?.getBoundingClientRect();
    if (f && r) box.current = { left: r.left, top: r.top, w: f.clientWidth, h: f.clientHeight };
  };
  /** Once for each frame of the screen, however many fingers moved. */
  const draw = () => {
    drawing.current.frame ||= requestAnimationFrame(() => {
      drawing.current.frame = 0;
      const v = view.current;
      const style = moved.current?.style;
      if (!style) return;
      style.transform = `translate(${v.x}px, ${v.y}px) scale(${v.k})`;
      if (drawing.current.k !== v.k) style.setProperty('--k', String(1 / v.k));
      drawing.current.k = v.k;
    });
  };
  const least = () => (size ? Math.min(box.current.w / size.w, box.current.h / size.h) : 1);
  /** Keeps a part of the picture in sight. */
  const settle = (v: View) => {
    const { w, h } = box.current;
    if (!size) return;
    const k = Math.min(most, Math.max(least(), v.k));
    const keep = (at: number, room: number, long: number) =>
      long <= room
        ? onTap
          ? Math.min(room / 2, Math.max(room / 2 - long, at))
          : (room - long) / 2
        : Math.min(room / 2, Math.max(room / 2 - long, at));
    view.current = { k, x: keep(v.x, w, size.w * k), y: keep(v.y, h, size.h * k) };
    draw();
  };
  const zoom = (by: number, x: number, y: number) => {
    const v = view.current;
    const k = Math.min(most, Math.max(least(), v.k * by));
    settle({ k, x: x - ((x - v.x) * k) / v.k, y: y - ((y - v.y) * k) / v.k });
  };
  const fit = () => {
    find();
    if (!size) return;
    const k = least();
    view.current = { k, x: (box.current.w - size.w * k) / 2, y: (box.current.h - size.h * k) / 2 };
    draw();
  };
  useEffect(() => {
    fit();
    const f = frame.current;
    if (!f) return;
    const wheel = (e: WheelEvent) => {
      e.preventDefault();
      if (!drawing.current.frame) find();
      const { left, top } = box.current;
      zoom(2 ** (-e.deltaY / 300), e.clientX - left, e.clientY - top);
    };
    f.addEventListener('wheel', wheel, { passive: false });
    const watch = typeof ResizeObserver === 'undefined' ? undefined : new ResizeObserver(fit);
    watch?.observe(f);
    return () => {
      f.removeEventListener('wheel', wheel);
      cancelAnimationFrame(drawing.current.frame);
      drawing.current.frame = 0;
      watch?.disconnect();
    };
  }, [size]);

  // What is chosen comes into the middle, large enough to be moved by its pixels.
  useEffect(() => {
    const f = frame.current;
    const m = chosen === undefined ? undefined : markers[chosen];
    if (!f || !m || !size) return;
    const k = Math.max(view.current.k, 1);
    find();
    settle({ k, x: box.current.w / 2 - m.x * k, y: box.current.h / 2 - m.y * k });
    f.focus({ preventScroll: true });
  }, [chosen, size]);

  const local = (e: { clientX: number; clientY: number }) => ({
    x: e.clientX - box.current.left,
    y: e.clientY - box.current.top,
  });
  const spotAt = (p: { x: number; y: number }): Spot | undefined => {
    const v = view.current;
    const spot = { x: (p.x - v.x) / v.k, y: (p.y - v.y) / v.k };
    return size && spot.x >= 0 && spot.y >= 0 && spot.x <= size.w && spot.y <= size.h ? spot : undefined;
  };
  const look = (p: { x: number; y: number } | undefined) => {
    const c = loupe.current;
    if (!c) return;
    c.hidden = !p;
    const pen = p && c.getContext('2d');
    if (!p || !pen || !img.current) return;
    const v = view.current;
    const part = c.width / (v.k * 3); // three times as large as on the screen
    pen.clearRect(0, 0, c.width, c.height);
    pen.drawImage(
      img.current,
      (p.x - v.x) / v.k - part / 2,
      (p.y - v.y) / v.k - part / 2,
      part,
      part,
      0,
      0,
      c.width,
      c.height,
    );
    pen.lineWidth = 2;
    for (const [colour, off] of [
      ['black', 1],
      ['white', 0],
    ] as const) {
      pen.strokeStyle = colour;
      pen.beginPath();
      pen.moveTo(c.width / 2 + off, c.height / 2 - 14);
      pen.lineTo(c.width / 2 + off, c.height / 2 + 14);
      pen.moveTo(c.width / 2 - 14, c.height / 2 + off);
      pen.lineTo(c.width / 2 + 14, c.height / 2 + off);
      pen.stroke();
    }
    const above = p.y > c.height + 40;
    c.style.transform = `translate(${p.x - c.width / 2}px, ${above ? p.y - c.height - 32 : p.y + 48}px)`;
  };

  const down = (e: PointerEvent) => {
    if (e.button !== 0) return;
    frame.current?.setPointerCapture(e.pointerId);
    find();
    const p = local(e);
    fingers.current.set(e.pointerId, p);
    const one = fingers.current.size === 1;
    gesture.current = { from: p, tap: one && Boolean(onTap), moving: false };
    look(one && onTap && e.pointerType !== 'mouse' ? p : undefined);
  };
  const move = (e: PointerEvent) => {
    const was = fingers.current.get(e.pointerId);
    if (!was) return;
    const p = local(e);
    const others = [...fingers.current].filter(([id]) => id !== e.pointerId).map(([, at]) => at);
    fingers.current.set(e.pointerId, p);
    const other = others[0];
    if (other) {
      const before = Math.hypot(was.x - other.x, was.y - other.y);
      const now = Math.hypot(p.x - other.x, p.y - other.y);
      const v = view.current;
      view.current = { ...v, x: v.x + (p.x - was.x) / 2, y: v.y + (p.y - was.y) / 2 };
      if (before > 0) zoom(now / before, (p.x + other.x) / 2, (p.y + other.y) / 2);
      return;
    }
    const g = gesture.current;
    if (!g) return;
    if (g.tap && e.pointerType !== 'mouse') return look(p);
    // A mouse points exactly: it moves the picture when it is dragged.
    g.moving ||= Math.hypot(p.x - g.from.x, p.y - g.from.y) > 6;
    if (g.moving) settle({ ...view.current, x: view.current.x + p.x - was.x, y: view.current.y + p.y - was.y });
  };
  const up = (e: PointerEvent) => {
    if (!fingers.current.delete(e.pointerId)) return;
    look(undefined);
    const g = gesture.current;
    if (fingers.current.size > 0) {
      gesture.current = { from: local(e), tap: false, moving: true };
      return;
    }
    gesture.current = undefined;
    if (!g?.tap || g.moving || e.type === 'pointercancel') return;
    const spot = spotAt(local(e));
    if (spot) onTap?.(spot);
  };
  const key = (e: KeyboardEvent) => {
    if (e.ctrlKey || e.metaKey || e.altKey) return;
    const by = stepOf[e.key];
    const v = view.current;
    const middle = { x: box.current.w / 2, y: box.current.h / 2 };
    const slow = e.shiftKey ? 0.05 : 1;
    const held = chosen === undefined ? undefined : markers[chosen];
    if (held && size && by) {
      const far = e.shiftKey ? 10 : 1;
      const keep = (at: number, most: number) => Math.min(most, Math.max(0, at));
      onMove?.({
        x: keep(held.x - Math.sign(by[0]) * far, size.w),
        y: keep(held.y - Math.sign(by[1]) * far, size.h),
      });
    } else if (held && (e.key === 'Enter' || e.key === 'Escape')) {
      e.stopPropagation();
      onMove?.(undefined);
    } else if (by && keys) settle({ ...v, x: v.x + by[0] * slow, y: v.y + by[1] * slow });
    else if (e.key === '+' || e.key === '=') zoom(1.25, middle.x, middle.y);
    else if (e.key === '-') zoom(0.8, middle.x, middle.y);
    else if (e.key === '0') fit();
    else if (e.key === 'Enter' && onTap) {
      const spot = spotAt(middle);
      if (spot) onTap(spot);
    } else return;
    e.preventDefault();
  };

  return (
    <div class="stage">
      {/* biome-ignore lint/a11y/useSemanticElements: there is no element for a picture that is moved and tapped */}
      <div
        ref={frame}
        class={onTap ? 'frame aims' : 'frame'}
        style={size && { aspectRatio: `${size.w} / ${size.h}` }}
        role="group"
        aria-label={`${alt}. ${chosen !== undefined ? say('Arrows move the place by a pixel, with Shift by ten; Enter leaves it there.') : onTap ? say('Arrows move the picture under the cross, plus and minus make it larger and smaller, Enter sets the place.') : say('Plus and minus make it larger and smaller.')}`}
        // biome-ignore lint/a11y/noNoninteractiveTabindex: the keyboard moves the picture
        tabIndex={0}
        onPointerDown={down}
        onPointerMove={move}
        onPointerUp={up}
        onPointerCancel={up}
        onKeyDown={key}
      >
        <div ref={moved} class="moved">
          <img
            ref={img}
            src={src}
            alt={alt}
            decoding="async"
            draggable={false}
            onLoad={(e) => {
              const { naturalWidth: w, naturalHeight: h } = e.currentTarget;
              setSize({ w, h });
            }}
            onError={() => setMissing(true)}
          />
          {size && outline && outline.length > 0 && (
            <svg class="outline" viewBox={`0 0 ${size.w} ${size.h}`} width={size.w} height={size.h} aria-hidden="true">
              <polygon points={outline.map((p) => `${p.x},${p.y}`).join(' ')} />
            </svg>
          )}
          {size &&
            markers.map((m, i) => (
              <span
                key={`${i} ${m.words}`}
                class={`spot ${m.kind ?? 'pin'}${i === chosen ? ' chosen' : ''}`}
                style={{ left: `${m.x}px`, top: `${m.y}px` }}
              >
                <span aria-hidden="true">{m.text}</span>
                <span class="ear">{m.words}</span>
              </span>
            ))}
        </div>
        {onTap && chosen === undefined && <span class="cross" aria-hidden="true" />}
        {onTap && <canvas ref={loupe} class="loupe" width={132} height={132} hidden />}
        {missing && <p class="missing">{say('{alt}. It shows when there is network.', { alt })}</p>}
      </div>
    </div>
  );
}
