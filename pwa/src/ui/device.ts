/**
 * iPhones and iPads clear what a website has stored after seven days of use without a visit
 * (webkit.org/blog/14403), unless it is on the Home Screen.
 */
export function clearsAfterAWeek(): boolean {
  const apple =
    /iPhone|iPad|iPod/.test(navigator.userAgent) ||
    (/Macintosh/.test(navigator.userAgent) && navigator.maxTouchPoints > 1);
  return apple && !matchMedia('(display-mode: standalone)').matches;
}

/** Once the page has been drawn and has nothing to do, or after a second. */
export function idle(): Promise<void> {
  return new Promise((done) => {
    if ('requestIdleCallback' in window) requestIdleCallback(() => done(), { timeout: 1000 });
    else setTimeout(done, 100); // WebKit has no such word
  });
}
