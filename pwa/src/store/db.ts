import { type DBSchema, type IDBPDatabase, openDB } from 'idb';
import type {
  CaseJson,
  CourseJson,
  EntryJson,
  GeneJson,
  GuideJson,
  HandoverJson,
  SetupPointJson,
  SignInfoJson,
  SpeciesJson,
  StockAnimalJson,
} from '../core/contract';

/** One thing that this phone still has to send. */
export interface Item {
  /** Counted by the database: the order in which things were saved. Clocks do not matter. */
  seq: number;
  /** Of the entry or photo; the server stores each id once. */
  id: string;
  version: 1;
  /** Whose session sends it; one device may have both. */
  as: 'keeper' | 'breeder';
  /** `breeders/{b}/animals/{a}`: in order within it, side by side otherwise. */
  animal: string;
  case: string;
  method: 'POST' | 'PUT';
  path: string;
  /** The entry, exactly as it goes out; absent for a sale, and for a photo, whose bytes lie in `photos`. */
  entry?: EntryJson;
  /** A sale of the breeder's, exactly as it goes out: a handover with its card's code. */
  sale?: HandoverJson;
  /** The number on the sale's card, if this device knew the card. */
  card?: number;
  /** A request with this sale or entry went out: the service may have it. */
  out?: true;
  /** The sale was taken back after that: once the service has told which it is, it is revoked. */
  undone?: true;
  /** Of an entry that takes another back: what the stock book said before that one. */
  last?: LastKnown;
  /** Ids that must have arrived before. */
  after: string[];
  state: 'queued' | 'dead';
  tries: number;
  nextAt: number;
  savedAt: number;
  error?: Refusal;
}

/** Why the server did not take an item, or why it could not be reached. */
export interface Refusal {
  status: number;
  reason: string;
  message: string;
  meta: Record<string, string>;
  /** What is wrong with which field. */
  fields?: { field: string; description: string }[];
}

/** What the stock book says of an animal's last weight, offer and meal. */
export type LastKnown = Pick<StockAnimalJson, 'massG' | 'weighTime' | 'lastOffer' | 'lastMeal'>;

/** An animal of the breeder's stock book, as the service told of it. */
export interface StockRow {
  /** Its place in the service's order. */
  at: number;
  stock: StockAnimalJson;
}

/** The service's tables, each with when it was fetched, ms. */
export interface Tables {
  signs: SignInfoJson[];
  points: SetupPointJson[];
  species: SpeciesJson[];
  genes: GeneJson[];
}

/** A photo that is not sent yet. Bytes, not a Blob: WebKit loses Blobs. */
export interface StoredPhoto {
  id: string;
  bytes: ArrayBuffer;
  type: string;
  takenAt?: string;
}

interface Schema extends DBSchema {
  outbox: { key: number; value: Item; indexes: { id: string; animal: string } };
  photos: { key: string; value: StoredPhoto };
  cases: { key: string; value: CaseJson };
  records: { key: string; value: HandoverJson };
  logs: { key: string; value: EntryJson[] };
  courses: { key: string; value: CourseJson };
  guides: { key: string; value: GuideJson };
  /** The breeder's; a key begins with the breeder's name. */
  stock: { key: string; value: StockRow };
  tables: { key: keyof Tables; value: { at: number } & Partial<Tables> };
  drafts: { key: string; value: unknown };
  state: { key: string; value: unknown };
}

export type Db = IDBPDatabase<Schema>;

let handle: Promise<Db> | undefined;
let name = 'warmhand';

/** Tests give each case a database of its own. */
export function useDatabase(other: string): void {
  void handle?.then((d) => d.close());
  handle = undefined;
  name = other;
}

/** The first version. */
function create(db: Db): void {
  const outbox = db.createObjectStore('outbox', { keyPath: 'seq', autoIncrement: true });
  outbox.createIndex('id', 'id', { unique: true });
  outbox.createIndex('animal', 'animal');
  db.createObjectStore('photos', { keyPath: 'id' });
  for (const plain of ['cases', 'records', 'logs', 'courses', 'tables', 'drafts', 'state'] as const) {
    db.createObjectStore(plain);
  }
}

function open(): Promise<Db> {
  handle ??= openDB<Schema>(name, 3, {
    async upgrade(db, from, _to, tx) {
      if (from < 1) create(db);
      if (from < 2) {
        db.createObjectStore('stock');
        // Before it, only keepers had an outbox.
        for await (const cursor of tx.objectStore('outbox')) await cursor.update({ ...cursor.value, as: 'keeper' });
      }
      db.createObjectStore('guides');
    },
    blocking(_from, _to, event) {
      // A newer version in another tab wants in: let go, and open again when asked.
      (event.target as IDBDatabase).close();
      handle = undefined;
    },
    terminated() {
      handle = undefined; // the browser took the database away; the next use opens it again
    },
  }).catch((e: unknown) => {
    handle = undefined;
    throw e;
  });
  return handle;
}

/**
 * Runs a piece of work on the database. A handle that the browser has dropped
 * behind our back (phones do when the app sleeps) is opened again, once.
 */
export async function withDb<T>(work: (db: Db) => Promise<T>): Promise<T> {
  const was = open();
  try {
    return await work(await was);
  } catch (e) {
    const dead = e instanceof DOMException && (e.name === 'InvalidStateError' || e.name === 'UnknownError');
    if (!dead) throw e;
    if (handle === was) handle = undefined;
    return work(await open());
  }
}

/** Was the failure a full phone? Then nothing was saved, and the screen must say so. */
export function isFull(e: unknown): boolean {
  return e instanceof DOMException && e.name === 'QuotaExceededError';
}

export function readState<T>(key: string): Promise<T | undefined> {
  return withDb(async (db) => (await db.get('state', key)) as T | undefined);
}

export function writeState(key: string, value: unknown): Promise<void> {
  return withDb(async (db) => {
    await db.put('state', value, key);
  });
}

/** The state that tells the worker which language the pages speak. */
export const languageKey = 'language';

/** The state that says where a picture was being taken: phones may end the page while their camera is open. */
export const cameraKey = 'camera';

export function readDraft<T>(key: string): Promise<T | undefined> {
  return withDb(async (db) => (await db.get('drafts', key)) as T | undefined);
}

/** Resolves when the draft is on disk: only then may the camera open, which can end the page. */
export function writeDraft(key: string, value: unknown): Promise<void> {
  return withDb(async (db) => {
    const tx = db.transaction('drafts', 'readwrite', { durability: 'strict' });
    await tx.store.put(value, key);
    await tx.done;
  });
}

export function dropDraft(key: string): Promise<void> {
  return withDb((db) => db.delete('drafts', key));
}

/** Drops every draft whose name begins so. */
export function dropDrafts(prefix: string): Promise<void> {
  return withDb((db) => db.delete('drafts', IDBKeyRange.bound(prefix, `${prefix}\uffff`)));
}
