// The worker that measures photos: it runs the same Go code as the server, compiled to
// WebAssembly. internal/tools/webbuild compiles it and puts Go's glue, the class Go, before this file.
import type { Asked, Told } from '../photo/finder';

declare const self: DedicatedWorkerGlobalScope;

declare class Go {
  readonly importObject: WebAssembly.Imports;
  run(instance: WebAssembly.Instance): Promise<void>;
}

/** What internal/measure/wasm sets; all answer with JSON. */
declare function readCode(width: number, height: number, rgba: Uint8Array): string;
declare function findCode(width: number, height: number, rgba: Uint8Array): string;
declare function measureOpening(width: number, height: number, rgba: Uint8Array, question: string): string;

const ready = start();

async function start(): Promise<void> {
  const answer = await fetch(__ENGINE__);
  if (!answer.ok) throw new Error(`${__ENGINE__}: ${answer.status}`);
  const go = new Go();
  const { instance } = await WebAssembly.instantiate(await answer.arrayBuffer(), go.importObject);
  void go.run(instance); // it stays, and has set its functions when this returns
}

self.addEventListener('message', ({ data }: MessageEvent<Asked>) => void answer(data));

async function answer(asked: Asked): Promise<void> {
  let told: Told;
  try {
    await ready;
    told = { id: asked.id, json: asked.image ? work(asked, asked.image) : 'null' };
  } catch (e) {
    told = { id: asked.id, error: String(e) };
  }
  self.postMessage(told);
}

function work(asked: Asked, { width, height, rgba }: NonNullable<Asked['image']>): string {
  const bytes = new Uint8Array(rgba);
  if (asked.question !== undefined) return measureOpening(width, height, bytes, asked.question);
  return asked.glance ? readCode(width, height, bytes) : findCode(width, height, bytes);
}
