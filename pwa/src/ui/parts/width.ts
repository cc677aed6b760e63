import type { RefObject } from 'preact';
import { useLayoutEffect, useRef, useState } from 'preact/hooks';

/** How wide a plot's holder is, in whole pixels between least and most; `first` until it is on the screen. */
export function useWidth(first: number, least: number, most: number): [RefObject<HTMLDivElement | null>, number] {
  const holder = useRef<HTMLDivElement>(null);
  const [width, setWidth] = useState(first);
  useLayoutEffect(() => {
    const el = holder.current;
    if (!el || typeof ResizeObserver === 'undefined') return;
    const see = new ResizeObserver(([box]) => {
      if (box && box.contentRect.width > 0)
        setWidth(Math.min(most, Math.max(least, Math.round(box.contentRect.width))));
    });
    see.observe(el);
    return () => see.disconnect();
  }, [least, most]);
  return [holder, width];
}
