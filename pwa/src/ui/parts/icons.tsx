import type { JSX } from 'preact';

// Drawn for this app on a grid of 24, one stroke.
const paths = {
  back: 'M14 5l-7 7 7 7M7 12h13',
  check: 'M5 12.5l4.5 4.5L19 7',
  close: 'M6 6l12 12M18 6L6 18',
  plus: 'M12 5v14M5 12h14',
  scale: 'M4 20h16M6 20l1.5-9h9L18 20M12 11V7M8 7h8M12 15l2-2',
  meal: 'M5 16c0-4.5 3-7.5 7-7.5 4.5 0 7 3.5 8 7.5zM14.5 8.700a2 2 0 1 1 3 2.2M5 16c-2.5 0-2.5 3.500 0 3.500h5M16.8 13v.1',
  shed: 'M5 18c6 0 3-12 9-12 3 0 5 2 5 4s-2 3-4 3-3 1-3 3 2 3 5 3',
  warm: 'M12 4v9M12 13a3.5 3.5 0 1 0 .01 0M9 5h3M9 8h3',
  photo: 'M4 8h4l1.5-2.5h5L16 8h4v11H4zM12 16.5a3.2 3.2 0 1 0 0-6.4 3.2 3.2 0 0 0 0 6.4z',
  message: 'M4 5h16v11H10l-5 4v-4H4z',
  list: 'M5 7h14M5 12h14M5 17h9',
  book: 'M5 4.5h11a3 3 0 0 1 3 3v12H8a3 3 0 0 1-3-3zM5 16.5a3 3 0 0 1 3-3h11',
  person: 'M12 11a3.5 3.5 0 1 0 0-7 3.5 3.5 0 0 0 0 7zM5 20c1-5 4-6 7-6s6 1 7 6',
  key: 'M8 15.5a4 4 0 1 0 0-8 4 4 0 0 0 0 8zM12 11.5h9v3.5M17 11.5v3',
  hand: 'M4 14l5-4 4 2h4a1.6 1.6 0 0 1 0 3.2h-5M4 19h9l7-4.5',
  print: 'M7 9V4h10v5M7 17H4V9h16v8h-3M7 14h10v6H7z',
  copy: 'M9 9h10v11H9zM15 9V4H5v11h4',
  search: 'M10.5 16.5a6 6 0 1 0 0-12 6 6 0 0 0 0 12zM15 15l5 5',
  help: 'M12 20.5a8.5 8.5 0 1 0 0-17 8.5 8.5 0 0 0 0 17zM9.5 9.5a2.5 2.5 0 1 1 3.3 2.4c-.6.2-.8.6-.8 1.2v.6M12 16.6v.1',
  clock: 'M12 20a8 8 0 1 0 0-16 8 8 0 0 0 0 16zM12 8v4.5l3 2',
  next: 'M9 5l7 7-7 7',
  warn: 'M12 4l9 16H3zM12 10v5M12 17.5v.1',
} as const;

export type IconName = keyof typeof paths;

/** Always beside a word, so hidden from screen readers. */
export function Icon({ name }: { name: IconName }): JSX.Element {
  return (
    <svg class="icon" viewBox="0 0 24 24" aria-hidden="true" focusable="false">
      <path d={paths[name]} />
    </svg>
  );
}
