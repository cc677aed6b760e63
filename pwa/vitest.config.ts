import { defineConfig } from 'vitest/config';

export default defineConfig({
  oxc: { jsx: { runtime: 'automatic', importSource: 'preact' } },
  define: {
    __VERSION__: JSON.stringify('test'),
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
