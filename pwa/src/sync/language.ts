// The language goes with the person: what is chosen here is told to the service, which speaks it in mail, on other devices
// and in the calendar; a device where nothing was chosen takes the one that the service knows.
import { ApiError, asBreeder, asKeeper, call } from '../api/client';
import type { GetMeResponseJson } from '../core/contract';
import { language, languages } from '../core/language';
import { changeSettings, settings } from '../core/settings';

const tell = (tag: string, as: typeof asKeeper | typeof asBreeder) =>
  call('POST', '/v1/me:setLanguage', { language: tag }, { ...as, timeout: 4_000 });

/** Tells a choice to whoever is signed in here, a keeper and a breeder's person. It waits until somebody is, and for network. */
export async function tellLanguage(): Promise<void> {
  const chosen = settings.value.language;
  if (!settings.value.untold || !chosen) return;
  const told = await Promise.allSettled([asKeeper, asBreeder].map((as) => tell(chosen, as)));
  const waits = told.some((t) => t.status === 'rejected' && !(t.reason instanceof ApiError));
  if (!waits && told.some((t) => t.status === 'fulfilled') && settings.value.language === chosen)
    changeSettings({ untold: false });
}

/** Takes the language of the person whose screens these are, where nothing was chosen here. Another one loads the page anew. */
export async function takeLanguage(): Promise<void> {
  await tellLanguage();
  if (settings.value.language) return;
  try {
    const as = location.pathname.startsWith('/b') ? asBreeder : asKeeper;
    const me = await call<GetMeResponseJson>('GET', '/v1/me', undefined, as);
    if (!me.role) return;
    if (!me.language) return void (await tell(language(), as));
    const was = language();
    if (languages[me.language]) changeSettings({ theirs: me.language });
    if (language() !== was) location.reload();
  } catch {
    // No network: at the next start.
  }
}
