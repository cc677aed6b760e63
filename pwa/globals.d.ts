// What internal/tools/webbuild puts in at build time.

/** Hash over the app and its static files: another version, another value. */
declare const __VERSION__: string;

/** Addresses of everything that the first screen needs. In the service worker only. */
declare const __PRECACHE__: readonly string[];

/** Addresses of what is large and is kept from its first use on. In the service worker only. */
declare const __LARGE__: readonly string[];

/** Address of the worker that measures photos, and, in that worker, of what it runs. */
declare const __MEASURE__: string;
declare const __ENGINE__: string;

declare module '*.css';

/** Languages beside English: what each calls itself, and the address of its words. */
declare const __WORDS__: Readonly<Record<string, { name: string; at: string }>>;
