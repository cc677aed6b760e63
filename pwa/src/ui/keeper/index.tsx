import type { ComponentChildren, JSX } from 'preact';
import { useEffect } from 'preact/hooks';
import type { CaseJson } from '../../core/contract';
import { say } from '../../core/say';
import { cameraKey, readState, writeState } from '../../store/db';
import { phase, signedOut } from '../../sync/sync';
import { lazy } from '../lazy';
import { go, Link, Screen } from '../nav';
import { Failed } from '../parts/controls';
import { CaseHome, CaseList } from './home';
import { broken, caseNamed, known } from './state';

type Form = { c: CaseJson };
const forms = () => import('./log');
const OfferForm = lazy<Form>(async () => ({ default: (await forms()).OfferForm }));
const WeighForm = lazy<Form>(async () => ({ default: (await forms()).WeighForm }));
const ClimateForm = lazy<Form>(async () => ({ default: (await forms()).ClimateForm }));
const ShedForm = lazy<Form>(async () => ({ default: (await forms()).ShedForm }));
const SignForm = lazy<Form & { code: string | undefined }>(async () => ({ default: (await forms()).SignForm }));
const History = lazy<{ c: CaseJson; rest: string[] }>(() => import('./history'));
const Setup = lazy<{ c: CaseJson; rest: string[] }>(() => import('./setup'));
const HandoverRecord = lazy<{ c: CaseJson }>(() => import('./record'));
const Guide = lazy<{ c: CaseJson; page: string | undefined }>(() => import('./guide'));
const Vet = lazy<{ c: CaseJson }>(() => import('./vet'));
const Onward = lazy<{ c: CaseJson }>(() => import('./onward'));
const Talk = lazy<{ c: CaseJson }>(() => import('./talk'));
const KeeperSettings = lazy<object>(() => import('./settings'));
const YourData = lazy<object>(() => import('./data'));
const Unsent = lazy<object>(() => import('./unsent'));

export function KeeperApp({ path }: { path: string }): JSX.Element {
  useEffect(() => {
    void (async () => {
      const camera = await readState<{ path: string; at: number }>(cameraKey).catch(() => undefined);
      if (!camera) return;
      await writeState(cameraKey, undefined);
      if (Date.now() - camera.at < 3_600_000 && camera.path !== location.pathname) go(camera.path, true);
    })();
  }, []);

  if (broken.value) {
    return (
      <Screen title={say('The app cannot start')}>
        <Failed text={broken.value} again={() => location.reload()} />
      </Screen>
    );
  }
  const k = known.value;
  if (!k) return <Waiting />;
  const parts = path.split('/').filter(Boolean);
  if (parts[0] === 'k' && parts[1] === 'settings' && parts.length === 2) return <KeeperSettings />;
  if (parts[0] === 'k' && parts[1] === 'data' && parts.length === 2) return <YourData />;
  if (parts[0] === 'k' && parts[1] === 'unsent' && parts.length === 2) return <Unsent />;
  if (parts.length === 0 || (parts[0] === 'k' && parts.length === 1)) {
    const only = k.cases.length === 1 && k.waiting.length === 0 ? k.cases[0] : undefined;
    return only ? <CaseHome c={only} first /> : <CaseList cases={k.cases} />;
  }
  const c = parts[0] === 'k' ? caseNamed(parts[1] ?? '', parts[2] ?? '') : undefined;
  if (!c) return phase.value === 'sending' ? <Waiting /> : <NotHere />;
  const rest = parts.slice(4);
  switch (parts[3]) {
    case undefined:
      return <CaseHome c={c} first={k.cases.length === 1} />;
    case 'offer':
      return <OfferForm c={c} />;
    case 'weigh':
      return <WeighForm c={c} />;
    case 'climate':
      return <ClimateForm c={c} />;
    case 'shed':
      return <ShedForm c={c} />;
    case 'sign':
      return <SignForm c={c} code={rest[0]} />;
    case 'history':
      return <History c={c} rest={rest} />;
    case 'setup':
      return <Setup c={c} rest={rest} />;
    case 'record':
      return <HandoverRecord c={c} />;
    case 'guide':
      return <Guide c={c} page={rest[0]} />;
    case 'vet':
      return <Vet c={c} />;
    case 'onward':
      return <Onward c={c} />;
    case 'thread':
      return <Talk c={c} />;
    default:
      return <NotHere />;
  }
}

function Waiting(): JSX.Element {
  return (
    <main class="page" aria-busy="true">
      <h1 class="ear">{say('Loading')}</h1>
    </main>
  );
}

function NotHere(): JSX.Element {
  return (
    <Screen title={say('This page is not on this phone')}>
      <p>
        {signedOut.value
          ? say(
              'You are signed out on this phone. Ask your breeder for a code to come back in. What you saved here stays.',
            )
          : say('The address may be mistyped, or it belongs to somebody else’s animal.')}
      </p>
      <div class="stack foot">
        <Link to="/" class="button main">
          {say('To the start')}
        </Link>
      </div>
    </Screen>
  );
}

/** A line of text that is read out when it changes. */
export function Said({ children }: { children: ComponentChildren }): JSX.Element {
  return (
    <p class="said" role="status">
      {children}
    </p>
  );
}
