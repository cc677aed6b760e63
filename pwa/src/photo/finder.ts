/** A place in a picture, in pixels from its upper left corner. */
export interface Point {
  x: number;
  y: number;
}

/** A code in a picture. Its corners go round from the one at which its text begins. */
export interface Found {
  /** '' where it is too small or too blurred to be read. */
  text: string;
  modules: number;
  corners: [Point, Point, Point, Point];
  /** Standard deviation of a corner. */
  spreadPixels: number;
  /** Standard deviation of the edges' blur. */
  blurPixels: number;
  /** Grey levels of 255 between print and paper. */
  contrast: number;
}

/** How wide is the opening whose rim was tapped? internal/measure/README.md says more of each field. */
export interface Question {
  reference: 'handover_card' | 'bank_card';
  shape: 'round' | 'slot';
  /** Places on the rim, all round it; of a slot, on both edges. */
  rim: Point[];
  /** Rough corners of the bank card, one after the other round it. */
  card?: Point[];
  /** The handover card's code, where it was found before. */
  code?: Found;
  /** How far before or behind the card the rim may lie; else 3 mm are taken. */
  offPlaneMm?: number;
  /** How long the card's line is by a ruler; it should be 50 mm. */
  lineMm?: number;
}

export interface Measured {
  widthMm: number;
  /** With 95 % probability the width lies within this. */
  plusMinusMm: number;
  /** Standard deviations that make it up. */
  partsMm: { taps: number; corners: number; lens: number; plane: number; print: number };
  corners: [Point, Point, Point, Point];
  code?: Found;
  tiltDegrees: number;
  pixelsPerMm: number;
  offMm: number;
  /** The picture showed the rim near the taps. */
  seen: boolean;
  /** How to get closer; '' where it is close enough. */
  advice: string;
}

/** One of the two: a refusal says in plain words what to do. */
export interface Answer {
  result?: Measured;
  refusal?: { code: string; text: string };
}

/** What goes to the worker and comes back. Without a picture it only gets ready. */
export interface Asked {
  id: number;
  image?: { width: number; height: number; rgba: ArrayBuffer };
  question?: string;
  /** Only the code's text is wanted, and soon. */
  glance?: boolean;
}
export interface Told {
  id: number;
  json?: string;
  error?: string;
}

/** The text of the code in one frame of a camera, or null: quicker than findCode, and gives up sooner. */
export async function readCode(frame: ImageData): Promise<string | null> {
  return (await ask({ image: plain(frame), glance: true })) as string | null;
}

/** The code that lies in the picture, or null. It rejects where the engine cannot be loaded: without network, the first time. */
export async function findCode(image: ImageData): Promise<Found | null> {
  return (await ask({ image: plain(image) })) as Found | null;
}

/** Measures an opening. It rejects as findCode does, or for a question of another form. */
export async function measureOpening(image: ImageData, question: Question): Promise<Answer> {
  const answer = (await ask({ image: plain(image), question: JSON.stringify(question) })) as Answer & {
    error?: string;
  };
  if (answer.error) throw new Error(answer.error);
  return answer;
}

/** Loads what finds and measures ahead of its use; from then on it is on this phone, without network too. */
export async function warmFinder(): Promise<void> {
  await ask({});
}

function plain({ width, height, data }: ImageData): NonNullable<Asked['image']> {
  return { width, height, rgba: data.slice().buffer };
}

/** A picture takes tens of megabytes in the worker, so it goes when it is not needed for a while. */
const idle = 60_000;

let worker: Worker | undefined;
let leave: ReturnType<typeof setTimeout> | undefined;
let last = 0;
const waiting = new Map<number, { resolve: (answer: unknown) => void; reject: (e: Error) => void }>();

function ask(asked: Omit<Asked, 'id'>): Promise<unknown> {
  worker ??= start();
  clearTimeout(leave);
  const id = ++last;
  const answer = new Promise<unknown>((resolve, reject) => waiting.set(id, { resolve, reject }));
  worker.postMessage({ ...asked, id } satisfies Asked, asked.image ? [asked.image.rgba] : []);
  return answer;
}

function start(): Worker {
  const made = new Worker(__MEASURE__, { type: 'module' });
  made.onmessage = ({ data }: MessageEvent<Told>) => {
    const asker = waiting.get(data.id);
    waiting.delete(data.id);
    if (data.json === undefined) {
      asker?.reject(new Error(data.error));
      stop(made, data.error ?? '');
      return;
    }
    asker?.resolve(JSON.parse(data.json));
    if (waiting.size === 0) leave = setTimeout(() => stop(made, 'idle'), idle);
  };
  made.onerror = (e) => stop(made, e.message ?? 'the worker could not be loaded');
  return made;
}

/** The next question begins anew. */
function stop(which: Worker, why: string): void {
  which.terminate();
  if (worker !== which) return;
  worker = undefined;
  for (const { reject } of waiting.values()) reject(new Error(why));
  waiting.clear();
}
