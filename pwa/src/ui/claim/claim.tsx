import type { JSX } from 'preact';
import { useEffect, useState } from 'preact/hooks';
import { ApiError, asKeeper, call, Offline } from '../../api/client';
import { parseClaimCode, scannedClaimCode } from '../../core/code';
import type { ClaimCardResponseJson, ClaimHandoverResponseJson, LookUpClaimResponseJson } from '../../core/contract';
import { caseAddress, uuidv7 } from '../../core/ids';
import { say } from '../../core/say';

import { day } from '../../core/time';
import { formatMass } from '../../core/units';
import { rememberCard, rememberWaitingCard } from '../../photo/card';
import { keepClaimed, keepWaiting } from '../../store/copies';
import { readState, writeState } from '../../store/db';
import { clearsAfterAWeek } from '../device';
import { Identity } from '../keeper/record';
import { load } from '../keeper/state';
import { go, Link, Screen } from '../nav';
import { ThermalBand } from '../parts/band';
import { Button, Field, Notice } from '../parts/controls';
import { Languages } from '../parts/languages';
import { Scan } from '../parts/scan';
import { CodeBox } from './codebox';

/** A claim under way. Kept on disk, so that one whose answer was lost is sent again under the same id and succeeds. */
export interface Pending {
  code: string;
  requestId: string;
  keeperName: string;
  /** Went out at least once: the service may have done it already. */
  sent: boolean;
  /** Of a card whose sale has not come in: there is nothing to show yet, and the phone waits for it. */
  early?: boolean;
}

const pendingKey = 'claim';

interface Trouble {
  title: string;
  text: string;
  /** What the main button does. */
  next: 'again' | 'type' | 'back';
  /** The code may be one that lets a keeper back in. */
  other?: boolean;
}

/** What went wrong, and what to do, by the service's reason. */
export function troubleOf(e: unknown): Trouble {
  if (e instanceof Offline) {
    return {
      title: say('No network just now'),
      text: say(
        'Taking on a card needs network once. Your code is kept on this phone; this page goes on by itself when there is network.',
      ),
      next: 'again',
    };
  }
  if (!(e instanceof ApiError)) {
    return {
      title: say('The phone did not keep the code'),
      text: say('Its storage is full or closed. Make room, or use an ordinary window, and try again.'),
      next: 'again',
    };
  }
  switch (e.reason) {
    case 'CODE_WRONG':
      return {
        title: say('No card has this code'),
        text: say('Compare it with the card once more. If it is the same, ask your breeder for a new code.'),
        next: 'type',
        other: true,
      };
    case 'CODE_USED':
      return {
        title: say('This card has been taken on already'),
        text: say(
          'If that was you, open Warmhand on the phone that you used then. If that phone is gone, ask your breeder for a code to come back in. If it was not you, tell your breeder: they can see who did, and help.',
        ),
        next: 'back',
      };
    case 'CODE_EXPIRED':
      return {
        title: say('This code is too old'),
        text: say(
          'Codes hold for a while only. Ask your breeder for a new one; it takes a moment, and the record stays the same.',
        ),
        next: 'type',
      };
    case 'CODE_REVOKED':
      return {
        title: say('Your breeder took this code back'),
        text: say('Ask your breeder for a new one. Sometimes a card is printed twice, and the newer one counts.'),
        next: 'type',
      };
    case 'TOO_MANY_TRIES':
      return {
        title: say('Too many tries'),
        text: say('Please wait some minutes, then try once more with the card in your hand.'),
        next: 'again',
      };
  }
  if (e.status >= 500)
    return {
      title: say('The service has trouble'),
      text: say('It is not you. Please try again in a few minutes; your code is kept.'),
      next: 'again',
    };
  return { title: say('That did not work'), text: e.message, next: 'type' };
}

type Stage =
  | { kind: 'type' }
  | { kind: 'look'; code: string }
  | { kind: 'shown'; code: string; found: LookUpClaimResponseJson }
  | { kind: 'early'; code: string; breeder: string }
  | { kind: 'claiming'; pending: Pending }
  | { kind: 'trouble'; trouble: Trouble; from: Stage };

export default function Claim(): JSX.Element {
  const [stage, setStage] = useState<Stage | undefined>();

  useEffect(() => {
    const typed = parseClaimCode(decodeURIComponent(location.hash.slice(1)));
    void readState<Pending>(pendingKey)
      .catch(() => undefined)
      .then((pending) => {
        if (pending?.sent && (!typed.ok || typed.code === pending.code)) setStage({ kind: 'claiming', pending });
        else if (typed.ok) setStage({ kind: 'look', code: typed.code });
        else setStage({ kind: 'type' });
      });
    // A card that is scanned while this page is open changes the fragment only.
    const scanned = () => {
      const p = parseClaimCode(location.hash.slice(1));
      if (p.ok) setStage({ kind: 'look', code: p.code });
    };
    addEventListener('hashchange', scanned);
    return () => removeEventListener('hashchange', scanned);
  }, []);

  useEffect(() => {
    if (stage?.kind === 'look') void look(stage);
    if (stage?.kind === 'claiming') void claim(stage);
    if (stage?.kind !== 'trouble' || stage.trouble.next !== 'again') return;
    const on = () => setStage(stage.from);
    addEventListener('online', on);
    return () => removeEventListener('online', on);
  }, [stage]);

  const look = async (from: Stage & { kind: 'look' }) => {
    try {
      const found = await call<LookUpClaimResponseJson>(
        'POST',
        '/v1/claims:lookUp',
        { claimCode: from.code },
        asKeeper,
      );
      setStage({ kind: 'shown', code: from.code, found });
    } catch (e) {
      if (e instanceof ApiError && e.reason === 'CARD_WAITING') {
        setStage({ kind: 'early', code: from.code, breeder: e.meta['breeder'] ?? '' });
        return;
      }
      setStage({ kind: 'trouble', trouble: troubleOf(e), from });
    }
  };

  const claim = async (from: Stage & { kind: 'claiming' }) => {
    const { code, requestId, keeperName } = from.pending;
    try {
      await writeState(pendingKey, { ...from.pending, sent: true });
      if (from.pending.early && (await claimEarly(from.pending))) {
        await writeState(pendingKey, undefined);
        location.replace('/');
        return;
      }
      const answer = await call<ClaimHandoverResponseJson>(
        'POST',
        '/v1/claims',
        { claimCode: code, keeperName, requestId },
        asKeeper,
      );
      if (answer.case) {
        await keepClaimed(answer.case, answer.handover);
        const read = scannedClaimCode(code);
        if (read.ok) await rememberCard(answer.case.name ?? '', read.code).catch(() => undefined);
      }
      await writeState(pendingKey, undefined);
      await load();
      // A whole new page: the keeper's sender starts with it.
      location.replace(caseAddress(answer.case?.name ?? ''));
    } catch (e) {
      // A clear no: the next try is a new one. Anything else may have happened, so the id stays.
      if (e instanceof ApiError && e.status < 500 && e.status !== 429)
        await writeState(pendingKey, undefined).catch(() => undefined);
      setStage({ kind: 'trouble', trouble: troubleOf(e), from });
    }
  };

  /** False when the sale has come in meanwhile: then it is claimed as ever, with the same request id. */
  const claimEarly = async ({ code, requestId, keeperName }: Pending): Promise<boolean> => {
    try {
      const body = { claimCode: code, keeperName, requestId };
      const { card } = await call<ClaimCardResponseJson>('POST', '/v1/claims:wait', body, asKeeper);
      if (card) await keepWaiting([card]);
      const read = scannedClaimCode(code);
      if (card?.claimTime && read.ok) await rememberWaitingCard(card.claimTime, read.code).catch(() => undefined);
      return true;
    } catch (e) {
      if (e instanceof ApiError && e.reason === 'CARD_USED') return false;
      throw e;
    }
  };

  switch (stage?.kind) {
    case 'type':
      return <Type onCode={(code) => setStage({ kind: 'look', code })} />;
    case 'shown':
      return (
        <Shown
          found={stage.found}
          onClaim={async (keeperName) => {
            await writeState('sharing', stage.found.sharing ?? []).catch(() => undefined);
            setStage({ kind: 'claiming', pending: { code: stage.code, requestId: uuidv7(), keeperName, sent: false } });
          }}
        />
      );
    case 'early':
      return (
        <Early
          breeder={stage.breeder}
          again={() => setStage({ kind: 'look', code: stage.code })}
          onClaim={(keeperName) =>
            setStage({
              kind: 'claiming',
              pending: { code: stage.code, requestId: uuidv7(), keeperName, sent: false, early: true },
            })
          }
        />
      );
    case 'trouble': {
      // Typed here, but it may be the other kind of code.
      const code = stage.trouble.other && stage.from.kind === 'look' ? stage.from.code : '';
      return (
        <Screen title={stage.trouble.title} above={<ThermalBand />}>
          <Notice kind="warn" live>
            <p>{stage.trouble.text}</p>
          </Notice>
          <div class="actions foot">
            {stage.trouble.next === 'again' && (
              <Button kind="main" onClick={() => setStage(stage.from)}>
                {say('Try again')}
              </Button>
            )}
            {stage.trouble.next === 'type' && (
              <Button kind="main" onClick={() => setStage({ kind: 'type' })}>
                {say('Type the code again')}
              </Button>
            )}
            {stage.trouble.next === 'back' && (
              <Link to="/in" class="button main">
                {say('I have a code to come back in')}
              </Link>
            )}
            {code && (
              <a class="button" href={`/in#${code}`}>
                {say('It is a code to come back in')}
              </a>
            )}
            <Link to="/" class="button">
              {say('To the start')}
            </Link>
          </div>
        </Screen>
      );
    }
    default:
      return (
        <Screen
          title={stage?.kind === 'claiming' ? say('Taking it on') : say('Looking for your card')}
          above={<ThermalBand />}
        >
          <p role="status">{say('One moment.')}</p>
        </Screen>
      );
  }
}

function Type({ onCode }: { onCode: (code: string) => void }): JSX.Element {
  const [scanning, setScanning] = useState(false);
  const [other, setOther] = useState(false);
  if (scanning) {
    return (
      <Screen title={say('Scan your card')} above={<ThermalBand />}>
        <Scan
          closing={say('Type the code instead')}
          onClose={() => setScanning(false)}
          onText={(text) => {
            const p = scannedClaimCode(text);
            if (p.ok) onCode(p.code);
            else setOther(true);
          }}
        >
          {other && (
            <Notice live>
              <p>{say('That is another kind of code. The one you need is on the handover card from your breeder.')}</p>
            </Notice>
          )}
        </Scan>
      </Screen>
    );
  }
  return (
    <CodeBox
      title={say('Take on your card')}
      label={say('Code on the card')}
      button={say('Show the record')}
      onCode={onCode}
      below={<Languages />}
    >
      <p>
        {say(
          'On the handover card is a code of ten letters and numbers, in two groups of five. You can type it, or scan the square code beside it.',
        )}
      </p>
      <div class="actions">
        <Button icon="photo" onClick={() => setScanning(true)}>
          {say('Scan the card')}
        </Button>
      </div>
    </CodeBox>
  );
}

/** The service says it with the record, and the record is not there yet. */
const early = [
  say(
    'The breeder sees what you write about this animal: meals, weights, temperatures, the setup, photos and messages.',
  ),
  say('Other keepers and other breeders see none of it.'),
  say('You need no account and no e-mail address, and you may leave your name out.'),
];

/** The card is right, and the breeder's phone has had no network since the sale. */
function Early({
  breeder,
  again,
  onClaim,
}: {
  breeder: string;
  again: () => void;
  onClaim: (name: string) => void;
}): JSX.Element {
  const [name, setName] = useState('');
  const from = breeder || say('your breeder');
  return (
    <Screen title={say('Your card is right')} above={<ThermalBand />}>
      <p>
        {say(
          'The sale is still on the phone of {from}, which has had no network since. It sends it by itself. Take the card on now: it is yours from then on, and the record comes to this phone when the sale does.',
          { from },
        )}
      </p>
      <section class="card stack" aria-labelledby="share">
        <h2 id="share">{say('What is shared when you take it on')}</h2>
        <ul class="bullets">
          {early.map((t) => (
            <li key={t}>{t}</li>
          ))}
        </ul>
      </section>
      <Field
        label={say('What may your breeder call you? (you can leave it empty)')}
        value={name}
        onInput={setName}
        maxLength={60}
        autoComplete="nickname"
        hint={say('A first name or a nickname is plenty.')}
      />
      <div class="actions foot">
        <Button kind="main" icon="hand" onClick={() => onClaim(name.trim())}>
          {say('Take it on, and wait')}
        </Button>
        <Button onClick={again}>{say('Look again now')}</Button>
        <Button kind="quiet" onClick={() => go('/')}>
          {say('Not now')}
        </Button>
      </div>
    </Screen>
  );
}

function Shown({
  found,
  onClaim,
}: {
  found: LookUpClaimResponseJson;
  onClaim: (name: string) => Promise<void>;
}): JSX.Element {
  const [name, setName] = useState('');
  const [busy, setBusy] = useState(false);
  const r = found.record ?? {};
  const weight = r.weighIns?.at(-1);
  const animal = r.animal?.displayName || r.commonName || say('your snake');
  return (
    <Screen
      title={r.commonName ? say('Is this your {species}?', { species: r.commonName }) : say('Is this your snake?')}
      above={<ThermalBand />}
    >
      <p class="muted">
        {say('{what} The code holds until {day}.', {
          what: found.passedOn
            ? say('Bred by {breederName}, and passed on to you by its keeper.', { breederName: r.breederName })
            : say('From {breederName}.', { breederName: r.breederName }),
          day: day(found.claimExpireTime ?? ''),
        })}
      </p>
      <Identity animal={r.animal ?? {}} names={{ common: r.commonName, scientific: r.scientificName }} />
      {weight && (
        <p>
          {say('Last weighed {day}: {mass}', {
            day: day(weight.happenTime ?? ''),
            mass: <strong>{formatMass(Number(weight.weighIn?.massG))}</strong>,
          })}
        </p>
      )}
      {r.feeding && <p>{r.feeding}</p>}
      {(r.cautionsInBrief?.length ?? 0) > 0 && (
        <section class="stack" aria-labelledby="brief">
          <h2 id="brief">{say('What to mind first')}</h2>
          <ul class="bullets">
            {r.cautionsInBrief?.map((t) => (
              <li key={t}>{t}</li>
            ))}
          </ul>
        </section>
      )}
      {clearsAfterAWeek() && (
        <Notice title={say('On an iPhone or iPad, do this first')}>
          <p>
            {say(
              'Tap the Share button, then “Add to Home Screen”. Open the app there and type the code of your card. In the browser what you log may be cleared after a week without a visit.',
            )}
          </p>
        </Notice>
      )}
      <section class="card stack" aria-labelledby="share">
        <h2 id="share">{say('What is shared when you take it on')}</h2>
        <ul class="bullets">
          {found.sharing?.map((s) => (
            <li key={s}>{s}</li>
          ))}
        </ul>
      </section>
      <Field
        label={say('What may your breeder call you? (you can leave it empty)')}
        value={name}
        onInput={setName}
        maxLength={60}
        autoComplete="nickname"
        hint={say('A first name or a nickname is plenty.')}
      />
      {(r.cautions?.length ?? 0) > 0 && (
        <section class="card stack" aria-labelledby="mind">
          <h2 id="mind">{say('What to mind, in full')}</h2>
          <ul class="bullets">
            {r.cautions?.map((t) => (
              <li key={t}>{t}</li>
            ))}
          </ul>
        </section>
      )}
      <div class="actions bar">
        <p class="muted">
          {say('What you log is shared with {breederName}.', { breederName: r.breederName || say('your breeder') })}
        </p>
        <Button
          kind="main"
          icon="hand"
          busy={busy}
          onClick={() => {
            setBusy(true);
            void onClaim(name.trim());
          }}
        >
          {say('Take on {animal}', { animal })}
        </Button>
        <Button kind="quiet" onClick={() => go('/')}>
          {say('Not now')}
        </Button>
      </div>
    </Screen>
  );
}
