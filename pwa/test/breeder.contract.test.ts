// Every address that the app asks is one of the contract's, with its method and its query.
import { readdirSync, readFileSync, statSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';

const root = join(import.meta.dirname, '..', '..');

function files(dir: string, ext: RegExp): string[] {
  return readdirSync(dir).flatMap((name) => {
    const path = join(dir, name);
    if (statSync(path).isDirectory()) return name === 'gen' ? [] : files(path, ext);
    return ext.test(name) ? [path] : [];
  });
}

interface Route {
  method: string;
  pattern: string;
  at: RegExp;
}

function route(method: string, pattern: string): Route {
  const at = pattern
    .split(/(\{[^}]*\}|\*)/)
    .map((part) => {
      if (part === '*') return '[^/]+';
      if (!part.startsWith('{')) return part.replaceAll(/[.*+?^${}()|[\]\\]/g, '\\$&');
      const inner = part.slice(1, -1).split('=')[1];
      return inner ? inner.replaceAll('*', '[^/:]+') : '[^/:]+';
    })
    .join('');
  return { method, pattern, at: new RegExp(`^${at}$`) };
}

const protos = files(join(root, 'proto'), /\.proto$/).map((f) => readFileSync(f, 'utf8'));
const rpcRoutes = protos.flatMap((text) =>
  [...text.matchAll(/\b(get|post|put|patch|delete): "(\/v1\/[^"]+)"/g)].map((m) =>
    route((m[1] ?? '').toUpperCase(), m[2] ?? ''),
  ),
);
// Streams, photo bytes and PDFs are plain HTTP.
const handlers = files(join(root, 'server'), /^[^_]+\.go$/).map((f) => readFileSync(f, 'utf8'));
const plainRoutes = handlers.flatMap((text) =>
  [...text.matchAll(/"(GET|PUT|POST) (\/v1\/[^"]+)"/g)].map((m) => route(m[1] ?? '', m[2] ?? '')),
);
const routes = [...rpcRoutes, ...plainRoutes];

const fieldNames = new Set([
  ...handlers.flatMap((text) => [...text.matchAll(/Query\(\)(?:\.Get\(|\[)"(\w+)"/g)].map((m) => m[1] ?? '')),
  ...protos.flatMap((text) =>
    [...text.matchAll(/message \w+Request \{([\s\S]*?)\n\}/g)].flatMap((m) =>
      [...(m[1] ?? '').matchAll(/^ {2}(?:repeated |optional )?[\w.]+ (\w+) = \d+/gm)].map((f) =>
        (f[1] ?? '').replaceAll(/_(\w)/g, (_, c: string) => c.toUpperCase()),
      ),
    ),
  ),
]);

const sources = files(join(root, 'pwa', 'src'), /\.tsx?$/).map((f) => ({ f, text: readFileSync(f, 'utf8') }));

/** What a `${...}` in an address may stand for. */
const names = [
  'breeders/b',
  'breeders/b/animals/a',
  'breeders/b/cases/c',
  'breeders/b/handovers/h',
  'breeders/b/imports/i',
  'breeders/b/cases/c/photos/p',
  'b',
  '320',
];

function fill(template: string): string[] {
  const parts = template.split(/\$\{[^{}]*(?:\{[^{}]*\}[^{}]*)*\}/);
  let made = [parts[0] ?? ''];
  for (const next of parts.slice(1)) made = made.flatMap((m) => names.map((n) => m + n + next));
  return made.map((m) => m.split('?')[0] ?? '');
}

function known(template: string, method?: string): boolean {
  return fill(template).some((path) => routes.some((r) => (!method || r.method === method) && r.at.test(path)));
}

describe('the contract', () => {
  test('was read', () => {
    const unary = protos.flatMap((t) => [...t.matchAll(/^ {2}rpc \w+\(\w+\) returns \((?!stream)/gm)]).length;
    const more = protos.flatMap((t) => [...t.matchAll(/additional_bindings/g)]).length;
    expect(rpcRoutes.length).toBe(unary + more);
    expect(plainRoutes.length).toBeGreaterThanOrEqual(4);
    expect(fieldNames).toContain('pageToken');
    expect(known('/v1/breeders/b/cases/c:markSeen', 'POST')).toBe(true);
    expect(known('/v1/breeders/b/cases/c:markSeen', 'GET')).toBe(false);
    expect(known('/v1/breeders/b/cases/c:markseen', 'POST')).toBe(false);
  });

  test('has every address', () => {
    const literals = sources.flatMap(({ f, text }) =>
      [...text.matchAll(/(['`])(\/v1\/[^'`\s]*)\1/g)].map((m) => ({ f, template: m[2] ?? '' })),
    );
    expect(literals.length).toBeGreaterThan(25);
    // A bare prefix test such as startsWith('/v1/') is no address.
    const unknown = literals.filter((l) => l.template !== '/v1/' && !known(l.template));
    expect(unknown).toEqual([]);
  });

  test('has every method', () => {
    const calls = sources.flatMap(({ f, text }) =>
      [
        ...text.matchAll(
          /\b(?:call|ask|askForPdf|callForFile)\s*(?:<[^()]*?>)?\(\s*(?:'application\/pdf',\s*)?'(GET|POST|PATCH|PUT|DELETE)',\s*(?:withQuery\(\s*)?(['`])(\/v1\/[^'`]*)\2/g,
        ),
      ].map((m) => ({ f, method: m[1] ?? '', template: m[3] ?? '' })),
    );
    expect(calls.length).toBeGreaterThan(25);
    expect(calls.filter((c) => !known(c.template, c.method))).toEqual([]);
  });

  test('has every query', () => {
    const keys = sources.flatMap(({ f, text }) =>
      [...text.matchAll(/withQuery\(\s*(?:`[^`]*`|'[^']*'|\w+),\s*\{([^}]*)\}/g)].flatMap((m) =>
        [...(m[1] ?? '').replaceAll(/'[^']*'/g, "''").matchAll(/(?:^|,)\s*(\w+)\s*(?=[:,]|$)/g)].map((k) => ({
          f,
          key: k[1] ?? '',
        })),
      ),
    );
    expect(keys.length).toBeGreaterThan(10);
    expect(keys.filter((k) => !fieldNames.has(k.key))).toEqual([]);
  });
});
