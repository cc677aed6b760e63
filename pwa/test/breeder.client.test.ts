import { afterEach, describe, expect, test, vi } from 'vitest';
import { ApiError, call, Offline, withQuery } from '../src/api/client';

function answer(status: number, body: string, type = 'application/json'): void {
  vi.stubGlobal(
    'fetch',
    vi.fn(() => Promise.resolve(new Response(body, { status, headers: { 'Content-Type': type } }))),
  );
}

afterEach(() => {
  vi.unstubAllGlobals();
});

async function failure(promise: Promise<unknown>): Promise<unknown> {
  return promise.then(
    () => {
      throw new Error('it should have failed');
    },
    (e: unknown) => e,
  );
}

describe('call', () => {
  test('gives the answer, and sends what keeps other sites out', async () => {
    answer(200, '{"animal":{"name":"breeders/b/animals/a"}}');
    expect(await call('POST', '/v1/breeders/b/animals', { species: 'python_regius' })).toEqual({
      animal: { name: 'breeders/b/animals/a' },
    });
    const [path, init] = vi.mocked(fetch).mock.calls[0] ?? [];
    expect(path).toBe('/v1/breeders/b/animals');
    expect(init).toMatchObject({
      method: 'POST',
      credentials: 'same-origin',
      body: '{"species":"python_regius"}',
      headers: { 'X-Warmhand': '1', 'Content-Type': 'application/json' },
    });
  });

  test('sends no body and no header of writing with GET', async () => {
    answer(200, '{}');
    await call('GET', '/v1/me');
    const init = vi.mocked(fetch).mock.calls[0]?.[1];
    expect(init?.body).toBeUndefined();
    expect(init?.headers).not.toHaveProperty('X-Warmhand');
  });

  test('decodes reason, fields and metadata', async () => {
    answer(
      400,
      JSON.stringify({
        code: 9,
        message: 'That is 10 times the last weight.',
        details: [
          {
            '@type': 'type.googleapis.com/google.rpc.ErrorInfo',
            reason: 'LIKELY_SLIP',
            domain: 'warmhand',
            metadata: { last_g: '84' },
          },
          {
            '@type': 'type.googleapis.com/google.rpc.BadRequest',
            fieldViolations: [{ field: 'entry.weigh_in.mass_g', description: 'Is 840 g right?' }],
          },
          { '@type': 'type.googleapis.com/something.else' },
        ],
      }),
    );
    const e = await failure(call('POST', '/v1/x', {}));
    expect(e).toBeInstanceOf(ApiError);
    expect(e).toMatchObject({ status: 400, reason: 'LIKELY_SLIP', meta: { last_g: '84' } });
    expect((e as ApiError).field('mass_g')).toBe('Is 840 g right?');
    expect((e as ApiError).field('s_g')).toBeUndefined();
    expect((e as ApiError).message).toBe('That is 10 times the last weight.');
  });

  test('an error without details has an empty reason', async () => {
    answer(404, '{"code":5,"message":"Not found","details":[]}');
    expect(await failure(call('GET', '/v1/x'))).toMatchObject({ status: 404, reason: '', fields: [], meta: {} });
  });

  test.each([
    ['a sign-in page of a hotel', 200, '<html>', 'text/html'],
    ['a proxy’s error page', 502, 'Bad gateway', 'text/plain'],
    ['an answer that was cut off', 200, '{"anim', 'application/json'],
  ])('%s is no connection', async (_, status, body, type) => {
    answer(status, body, type);
    expect(await failure(call('GET', '/v1/me'))).toBeInstanceOf(Offline);
  });

  test('no network is no connection, but giving up is not', async () => {
    vi.stubGlobal('fetch', () => Promise.reject(new TypeError('Failed to fetch')));
    expect(await failure(call('GET', '/v1/me'))).toBeInstanceOf(Offline);
    const stop = new AbortController();
    stop.abort();
    vi.stubGlobal('fetch', () => Promise.reject(new DOMException('Aborted', 'AbortError')));
    const e = await failure(call('GET', '/v1/me', undefined, { signal: stop.signal }));
    expect(e).not.toBeInstanceOf(Offline);
  });
});

test('a query leaves out what is not set and repeats lists', () => {
  expect(withQuery('/v1/x', { pageSize: 50, pageToken: '', query: undefined, kinds: ['offer', 'shed'] })).toBe(
    '/v1/x?pageSize=50&kinds=offer&kinds=shed',
  );
  expect(withQuery('/v1/x', {})).toBe('/v1/x');
});
