import { language } from '../core/language';
import { say } from '../core/say';

// The one way to the service. Knows the form of its answers and errors, and nothing of what they mean.

export interface FieldProblem {
  /** As the service names it: snake_case, with dots between levels. */
  field: string;
  description: string;
}

/** What the service refused, with why (google.rpc.Status). */
export class ApiError extends Error {
  readonly status: number;
  /** One of the contract's reasons, such as LIKELY_SLIP; '' when the answer named none. */
  readonly reason: string;
  readonly fields: FieldProblem[];
  readonly meta: Record<string, string>;

  constructor(status: number, reason: string, message: string, fields: FieldProblem[], meta: Record<string, string>) {
    super(message);
    this.name = 'ApiError';
    this.status = status;
    this.reason = reason;
    this.fields = fields;
    this.meta = meta;
  }

  /** What is wrong with a field, by its last name: `mass_g` finds `entry.weigh_in.mass_g`. */
  field(name: string): string | undefined {
    return this.fields.find((f) => f.field === name || f.field.endsWith(`.${name}`))?.description;
  }
}

/** No answer of ours came: no network, a hotel's sign-in page, a proxy's error page. Nothing is known about the request. */
export class Offline extends Error {
  constructor(message = say('There is no connection to the service just now.'), options?: ErrorOptions) {
    super(message, options);
    this.name = 'Offline';
  }
}

export type Method = 'GET' | 'HEAD' | 'POST' | 'PATCH' | 'PUT' | 'DELETE';

export interface CallOptions {
  signal?: AbortSignal | undefined;
  headers?: Record<string, string> | undefined;
  /** Milliseconds; 30 s unless told otherwise. */
  timeout?: number | undefined;
}

/** On a device that is a breeder's as well, the keeper's pages act as the keeper. */
export const asKeeper = { headers: { 'X-Warmhand': 'keeper' } } as const satisfies CallOptions;
/** And the breeder's pages as the breeder. */
export const asBreeder = { headers: { 'X-Warmhand': 'breeder' } } as const satisfies CallOptions;

/** How the bytes of a picture go; two minutes, for a slow line. */
export function asPhoto(photo: { type: string; takenAt?: string | undefined }) {
  return {
    headers: { 'Content-Type': photo.type, ...(photo.takenAt && { 'X-Taken-At': photo.takenAt }) },
    timeout: 120_000,
  } satisfies CallOptions;
}

/** How much of a picture the service has: the bytes, or all. */
export async function arrivedOf(path: string, opt?: CallOptions): Promise<number | 'all'> {
  const { response } = await send('HEAD', path, undefined, opt, async () => undefined);
  if (!response.ok)
    throw new ApiError(response.status, '', say('The service answered {status}.', { status: response.status }), [], {});
  if (response.headers.get('Upload-Complete') === '?1') return 'all';
  const n = Number(response.headers.get('Upload-Offset') ?? Number.NaN);
  if (!Number.isInteger(n)) throw new Offline(); // the answer of something in between
  return n;
}

/** Bodies of bytes go as they are, everything else as JSON. */
export async function call<T>(method: Method, path: string, body?: unknown, opt?: CallOptions): Promise<T> {
  const { response, read } = await send(method, path, body, opt, (r) => r.text());
  if (response.status === 204) return undefined as T;
  const answer = jsonOf(response, read);
  if (!response.ok) throw decode(response.status, answer);
  return answer as T;
}

/** A call whose answer is a file of this type. */
export async function callForFile(
  type: string,
  method: Method,
  path: string,
  body?: unknown,
  opt?: CallOptions,
): Promise<Blob> {
  const { response, read } = await send(method, path, body, opt, (r) => r.blob());
  if (!response.ok) throw decode(response.status, jsonOf(response, await read.text()));
  if (response.headers.get('Content-Type') !== type) throw new Offline();
  return read;
}

/** An answer that breaks off while it is read is no answer. */
async function send<T>(
  method: Method,
  path: string,
  body: unknown,
  opt: CallOptions | undefined,
  reader: (r: Response) => Promise<T>,
): Promise<{ response: Response; read: T }> {
  const bytes = body instanceof ArrayBuffer || body instanceof Blob || ArrayBuffer.isView(body);
  const headers: Record<string, string> = {
    Accept: 'application/json',
    'Accept-Language': language(),
    ...opt?.headers,
  };
  // A page of another site cannot send this header without asking first.
  if (method !== 'GET') headers['X-Warmhand'] ??= '1';
  if (body !== undefined && !bytes) headers['Content-Type'] = 'application/json';

  const limit = AbortSignal.timeout(opt?.timeout ?? 30_000);
  const signal = opt?.signal ? AbortSignal.any([opt.signal, limit]) : limit;
  try {
    const response = await fetch(path, {
      method,
      headers,
      signal,
      credentials: 'same-origin',
      cache: 'no-store',
      redirect: 'error',
      ...(body !== undefined && { body: bytes ? (body as BodyInit) : JSON.stringify(body) }),
    });
    return { response, read: await reader(response) };
  } catch (cause) {
    if (opt?.signal?.aborted) throw cause;
    throw new Offline(undefined, { cause });
  }
}

function jsonOf(response: Response, text: string): unknown {
  if (!(response.headers.get('Content-Type') ?? '').includes('json')) throw new Offline();
  try {
    return JSON.parse(text);
  } catch (cause) {
    throw new Offline(undefined, { cause }); // cut off on the way
  }
}

function decode(status: number, answer: unknown): ApiError {
  const s = isObject(answer) ? answer : {};
  let reason = '';
  let meta: Record<string, string> = {};
  const fields: FieldProblem[] = [];
  for (const d of Array.isArray(s['details']) ? (s['details'] as unknown[]) : []) {
    if (!isObject(d)) continue;
    const type = String(d['@type'] ?? '');
    if (type.endsWith('/google.rpc.ErrorInfo')) {
      reason = String(d['reason'] ?? '');
      if (isObject(d['metadata'])) {
        meta = Object.fromEntries(Object.entries(d['metadata']).map(([k, v]) => [k, String(v)]));
      }
    }
    if (type.endsWith('/google.rpc.BadRequest') && Array.isArray(d['fieldViolations'])) {
      for (const f of d['fieldViolations'] as unknown[]) {
        if (isObject(f)) fields.push({ field: String(f['field'] ?? ''), description: String(f['description'] ?? '') });
      }
    }
  }
  const message =
    typeof s['message'] === 'string' && s['message'] ? s['message'] : say('The service answered {status}.', { status });
  return new ApiError(status, reason, message, fields, meta);
}

function isObject(v: unknown): v is Record<string, unknown> {
  return typeof v === 'object' && v !== null && !Array.isArray(v);
}

/** An address with the query parts that are set. Resource names stay readable: their slashes are not escaped. */
export function withQuery(
  path: string,
  query: Record<string, string | number | readonly string[] | undefined>,
): string {
  const q = new URLSearchParams();
  for (const [key, value] of Object.entries(query)) {
    if (value === undefined || value === '') continue;
    for (const v of Array.isArray(value) ? (value as readonly string[]) : [value]) q.append(key, String(v));
  }
  const text = q.toString();
  return text ? `${path}?${text}` : path;
}
