import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { defineConfig } from 'vitest/config';

const folder = join(import.meta.dirname, '../internal/words');
const languages = readdirSync(folder)
  .filter((file) => file.endsWith('.json'))
  .map((file) => JSON.parse(readFileSync(join(folder, file), 'utf8')) as { tag: string; name: string });

export default defineConfig({
  oxc: { jsx: { runtime: 'automatic', importSource: 'preact' } },
  define: {
    __VERSION__: JSON.stringify('test'),
    __WORDS__: JSON.stringify(
      Object.fromEntries(languages.map(({ tag, name }) => [tag, { name, at: `/${tag}.json` }])),
    ),
    __PRECACHE__: JSON.stringify(['/']),
  },
  test: {
    include: ['test/**/*.test.{ts,tsx}'],
    environment: 'happy-dom',
    env: { TZ: 'UTC' },
    passWithNoTests: true,
    restoreMocks: true,
    unstubGlobals: true,
    maxWorkers: 2,
  },
});
