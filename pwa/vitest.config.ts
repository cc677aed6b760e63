import { defineConfig } from 'vitest/config';

export default defineConfig({
  oxc: { jsx: { runtime: 'automatic', importSource: 'preact' } },
  define: {
    __VERSION__: JSON.stringify('test'),
    __PRECACHE__: JSON.stringify(['/']),
    __ZXING_WASM__: JSON.stringify('/assets/zxing_reader.wasm'),
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
