// What internal/tools/webbuild puts in at build time.

/** Hash over the app and its static files: another version, another value. */
declare const __VERSION__: string;

/** Addresses of everything that the first screen needs. In the service worker only. */
declare const __PRECACHE__: readonly string[];

declare module '*.css';
