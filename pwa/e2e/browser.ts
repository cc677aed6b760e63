// The browsers that the tests run in.

const started = (executablePath: string) => ({
  executablePath,
  args: [
    '--no-sandbox', // containers and root have no user namespaces
    '--disable-gpu',
    '--disable-quic',
    '--no-first-run',
    '--disable-background-networking',
    '--disable-component-update',
    '--disable-sync',
  ],
});

/** With a camera and notifications. */
export const whole = started(process.env['WARMHAND_CHROMIUM'] ?? '/usr/bin/chromium');

/**
 * The same engine without a desktop around it. Here each page is in front; the whole browser draws one behind another
 * only once a second, and each tap waits for that.
 */
export const bare = started(process.env['WARMHAND_CHROMIUM'] ?? '/usr/bin/chromium-headless-shell');
