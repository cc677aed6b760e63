// The language goes with the person: what is chosen here is told to the service, which speaks it in mail, on other devices
// and in the calendar; a device where nothing was chosen takes the one that the service knows.
import { ApiError, asBreeder, asKeeper, call } from '../api/client';
import type { GetMeResponseJson } from '../core/contract';
import { language, languages } from '../core/language';
import { changeSettings, settings } from '../core/settings';
import { forInput } from '../core/time';
import { readState, writeState } from '../store/db';

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

/** Takes the language of whom the service says is signed in, where nothing was chosen here. Another one loads the page anew. */
export async function takeLanguage(me: GetMeResponseJson): Promise<void> {
  await tellLanguage();
  if (settings.value.language || !me.role) return;
  if (!me.language) {
    await tell(language(), me.role === 'keeper' ? asKeeper : asBreeder).catch(() => undefined); // at the next start
    return;
  }
  const was = language();
  // Every sentence on the screen hangs on the settings: what is the same is not set again.
  if (languages[me.language] && me.language !== settings.value.theirs) changeSettings({ theirs: me.language });
  if (language() !== was) location.reload();
}

const askedKey = 'language asked';

/** The same for a keeper who comes back: nothing that their screens fetch says it, so once a day it is asked for. */
export async function askLanguage(now = new Date()): Promise<void> {
  await tellLanguage();
  if (settings.value.language) return;
  try {
    const today = forInput(now).slice(0, 10);
    if ((await readState<string>(askedKey)) === today) return;
    const me = await call<GetMeResponseJson>('GET', '/v1/me', undefined, asKeeper);
    await writeState(askedKey, today);
    await takeLanguage(me);
  } catch {
    // No network: at the next start.
  }
}
