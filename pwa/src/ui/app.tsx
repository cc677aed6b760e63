import { type JSX, render } from 'preact';
import { call } from '../api/client';
import type { GetMeResponseJson } from '../core/contract';
import { language } from '../core/language';
import { prepareDates } from '../core/time';
import type { Known } from '../store/copies';
import { languageKey, writeState } from '../store/db';
import { askLanguage, tellLanguage } from '../sync/language';
import { back, startSync } from '../sync/sync';
import { idle } from './device';
import { KeeperApp } from './keeper';
import { known, load, seenToday } from './keeper/state';
import { lazy, styled } from './lazy';
import { go, path } from './nav';
import { startWorker, UpdatePrompt } from './update';
import { Welcome } from './welcome';

const breeder = () => styled('src/ui/breeder/breeder.css', import('./breeder/index'));
const Breeder = lazy<{ path: string; go: typeof go }>(breeder);
const Claim = lazy<object>(() => import('./claim/claim'));
const Letter = lazy<object>(() => import('./letter'));
const CheckRecord = lazy<object>(() => import('./check'));
const SignInLink = lazy<{ onKeeper: () => void }>(() => import('./claim/link'));

let syncing = false;

/** The keeper's sender and fetcher; a breeder's screens need neither. */
async function keep(): Promise<void> {
  if (syncing) return back();
  syncing = true;
  await seenToday();
  startSync(() => void load());
}

/** Does this phone hold anything of a keeper's? */
function keeps({ cases, outbox, waiting }: Known): boolean {
  return cases.length + outbox.length + waiting.length > 0;
}

function isBreeders(at: string): boolean {
  return at === '/b' || at.startsWith('/b/');
}

function App(): JSX.Element {
  const at = path.value;
  if (at === '/c') return <Claim />;
  if (at === '/in') return <SignInLink onKeeper={keep} />;
  if (at === '/v') return <Letter />;
  if (at === '/r') return <CheckRecord />;
  if (isBreeders(at)) return <Breeder path={at} go={go} />;
  if (at === '/' && known.value && !keeps(known.value)) return <Welcome />;
  return <KeeperApp path={at} />;
}

async function start(): Promise<void> {
  // Its code comes while the database is read; the screen says when it does not come.
  if (isBreeders(path.value)) breeder().catch(() => undefined);
  else setTimeout(prepareDates); // a task of its own, while the database is read
  await load();
  const root = document.getElementById('app');
  if (!root) return;
  render(
    <>
      <App />
      <UpdatePrompt />
    </>,
    root,
  );
  // A phone draws first what it has, and then asks for more.
  await idle();
  if (known.value && keeps(known.value)) await keep();
  else if (path.value === '/' || path.value.startsWith('/k/')) await find(); // a browser may drop the copies and keep the cookie
  await idle();
  await startWorker();
  await writeState(languageKey, language()).catch(() => undefined);
  addEventListener('online', () => void tellLanguage());
  if (!isBreeders(path.value)) void askLanguage();
}

/** Nothing of a keeper is on this phone: somebody may be signed in all the same. */
async function find(): Promise<void> {
  try {
    const me = await call<GetMeResponseJson>('GET', '/v1/me');
    if (me.role === 'keeper') await keep();
    else if (me.role && path.value === '/') go('/b', true);
  } catch {
    // No network: the welcome says what can be done.
  }
}

void start();
