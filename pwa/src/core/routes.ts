/** Is this an address of the app? The others, such as /api, are the server's own pages and are left to it. */
export function isAppPath(path: string): boolean {
  return /^\/(?:(?:c|in|b|k|r|v)(?:\/.*)?)?$/.test(path);
}
