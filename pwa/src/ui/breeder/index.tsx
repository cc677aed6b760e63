import type { JSX } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import { say } from '../../core/say';
import { lazy } from '../lazy';
import { ThermalBand } from '../parts/band';
import { Button } from '../parts/controls';
import { Icon, type IconName } from '../parts/icons';
import { AnimalPage } from './animal';
import { AddAnimalPage, AnimalsPage } from './animals';
import { list, listen, live, shows, spoken } from './cases';
import { ClutchPage } from './clutch';
import { HandoverPage } from './handover';
import { InsightPage } from './insight';
import { Go, Link, Trouble, Waiting } from './nav';
import { isBreeder, me, refreshMe, signedOut } from './session';
import { SettingsPage } from './settings';
import { SignIn, SignInPage, WelcomePage } from './signin';
import { startTable } from './table';
import { TablesPage } from './tables';
import { ThresholdsPage } from './thresholds';
import { TriagePage } from './triage';
import { UnsentBar } from './unsent';

const CheckInsPage = lazy(() => import('./checkins'));
const PeoplePage = lazy(() => import('./people'));
const ListsPage = lazy(() => import('./lists'));
const PhrasesPage = lazy(() => import('./phrases'));
const ReviewPage = lazy(() => import('./review'));
const CardsPage = lazy(() => import('./cards'));
const UnsentPage = lazy(() => import('./unsentpage'));
const RunsPage = lazy<{ kind: string }>(() => import('./runs'));
const SellPage = lazy<{ animal?: string }>(() => import('./sell'));

export interface BreederAppProps {
  /** `/b` and all below. */
  path: string;
  go: (path: string, replace?: boolean) => void;
}

const laterKey = 'warmhand.breeder.passkey-later';

function saidLater(): boolean {
  try {
    return Date.now() - Number(localStorage.getItem(laterKey) ?? 0) < 7 * 86_400_000;
  } catch {
    return false;
  }
}

/** Everything a breeder sees. */
export default function BreederApp({ path, go }: BreederAppProps): JSX.Element {
  const [failed, setFailed] = useState<unknown>();
  const [turn, setTurn] = useState(0);
  // Who came by a link and has no passkey is asked to make one; who says "later", in a week again.
  const [later, setLater] = useState(saidLater);
  const who = me.value;
  // `turn` asks once more.
  useEffect(() => {
    refreshMe().then(
      () => setFailed(undefined),
      (e: unknown) => setFailed(e),
    );
  }, [turn]);

  const signedInAs = isBreeder(who) ? who?.breeder : undefined;
  useEffect(() => (signedInAs ? listen(signedInAs) : undefined), [signedInAs]);
  useEffect(() => (signedInAs ? startTable() : undefined), [signedInAs]);

  const ask = path === '/b' && signedInAs && who?.passkeys === 0 && !later;
  useEffect(() => {
    if (ask) go('/b/welcome', true);
  }, [ask, go]);

  let screen: JSX.Element;
  if (!who) {
    screen = (
      <main class="page narrow">
        {failed ? <Trouble error={failed} again={() => setTurn(turn + 1)} /> : <Waiting />}
      </main>
    );
  } else if (!isBreeder(who)) screen = <SignInPage />;
  else if (path === '/b/welcome') {
    const done = () => {
      setLater(true);
      try {
        localStorage.setItem(laterKey, String(Date.now()));
      } catch {
        // It holds for this visit.
      }
      go('/b');
    };
    screen = <WelcomePage done={done} />;
  } else screen = <Shell path={path} />;
  return <Go.Provider value={go}>{screen}</Go.Provider>;
}

const places: { to: string; word: string; icon: IconName; mine: (path: string) => boolean }[] = [
  {
    to: '/b',
    word: say('Triage'),
    icon: 'list',
    mine: (p) => p === '/b' || p.startsWith('/b/cases') || p === '/b/insight' || p === '/b/review',
  },
  {
    to: '/b/animals',
    word: say('Stock book'),
    icon: 'book',
    mine: (p) => /^\/b\/(animals|clutches|handovers|lists|cards|sell)/.test(p),
  },
  { to: '/b/runs', word: say('Runs'), icon: 'scale', mine: (p) => p.startsWith('/b/runs') },
  {
    to: '/b/settings',
    word: say('Settings'),
    icon: 'person',
    mine: (p) =>
      p.startsWith('/b/settings') ||
      ['/b/tables', '/b/thresholds', '/b/phrases', '/b/checkins', '/b/people'].includes(p),
  },
];

function Shell({ path }: { path: string }): JSX.Element {
  const news = list.value?.which === 'open' ? list.value.cases.filter((c) => shows('new', c, new Date())).length : 0;
  return (
    <div class="desk">
      <header>
        <p class="name">{me.value?.breederName || 'Warmhand'}</p>
        <nav aria-label={say('Main')}>
          {places.map((p) => (
            <Link key={p.to} to={p.to} current={p.mine(path) ? 'page' : undefined}>
              <Icon name={p.icon} />
              <span>{p.word}</span>
              {p.to === '/b' && news > 0 && (
                <span class="count">
                  {news} <span class="ear">{say('new')}</span>
                </span>
              )}
            </Link>
          ))}
        </nav>
        <p class="live" role="status">
          {live.value && <span class="ear">{say('Changes arrive by themselves')}</span>}
          {live.value === false && say('Not live just now')}
        </p>
        <ThermalBand />
      </header>
      <div class="ear" aria-live="polite" aria-atomic="true">
        {spoken.value}
      </div>
      {signedOut.value && <SignInAgain />}
      <UnsentBar />
      <Screen path={path} />
    </div>
  );
}

function Screen({ path }: { path: string }): JSX.Element {
  const [, , room = '', id = '', more = ''] = path.split('/').map(decodeURIComponent);
  if (room === '' || (room === 'cases' && id)) return <TriagePage id={room ? id : ''} />;
  if (room === 'animals' && id === 'new') return <AddAnimalPage />;
  if (room === 'animals' && id) return <AnimalPage key={id} id={id} />;
  if (room === 'animals') return <AnimalsPage />;
  if (room === 'clutches' && id) return <ClutchPage key={id} label={id} />;
  if (room === 'handovers' && id) return <HandoverPage key={id} id={id} />;
  if (room === 'lists') return <ListsPage />;
  if (room === 'cards') return <CardsPage />;
  if (room === 'runs') return <RunsPage kind={id} />;
  if (room === 'sell') return <SellPage key={id} animal={id} />;
  if (room === 'unsent') return <UnsentPage />;
  if (room === 'review') return <ReviewPage />;
  if (room === 'settings') return <SettingsPage />;
  if (room === 'insight') return <InsightPage />;
  if (room === 'phrases') return <PhrasesPage />;
  if (room === 'tables') return <TablesPage />;
  if (room === 'checkins') return <CheckInsPage />;
  if (room === 'people') return <PeoplePage />;
  if (room === 'thresholds') return <ThresholdsPage />;
  return (
    <main class="page">
      <h1>{say('There is nothing here')}</h1>
      <p>
        {say('The address {address} is not one of ours. {link}', {
          address: [room, id, more].filter(Boolean).join('/'),
          link: <Link to="/b">{say('To the triage list')}</Link>,
        })}
      </p>
    </main>
  );
}

function SignInAgain(): JSX.Element {
  const ref = useRef<HTMLDialogElement>(null);
  useEffect(() => {
    ref.current?.showModal();
  }, []);
  return (
    <dialog ref={ref} aria-labelledby="again" onCancel={(e) => e.preventDefault()}>
      <div class="stack">
        <h2 id="again">{say('Please sign in again')}</h2>
        <p>{say('Your sign-in has ended. What you typed is still here.')}</p>
        <SignIn
          done={() => {
            signedOut.value = false;
          }}
        />
        <Button
          kind="quiet"
          onClick={() => {
            me.value = {};
            signedOut.value = false;
          }}
        >
          {say('Leave this screen')}
        </Button>
      </div>
    </dialog>
  );
}
