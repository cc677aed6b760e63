// The public page that checks a signed handover record. It needs no sign-in, and the record stays on this device.

import type { JSX } from 'preact';
import { useRef, useState } from 'preact/hooks';
import { ApiError, call, Offline } from '../api/client';
import { say } from '../core/say';
import { checkSigned, digestOf, inBrief, readSigned, type SignedRecord, Unreadable } from '../core/signed';
import { formatTime } from '../core/time';
import { formatMass } from '../core/units';
import { Screen } from './nav';
import { Button, Field, Notice } from './parts/controls';
import { Facts } from './parts/facts';

type Outcome =
  | { state: 'genuine' | 'revoked' | 'not known here'; record: SignedRecord; digest: string }
  | { state: 'changed' | 'unknown key' | 'unreadable' | 'unreachable' | 'no means' | 'asked too often' };

/** Longer is no record; a whole life of weights is a hundredth of it. */
const most = 2_000_000;

async function check(text: string): Promise<Outcome> {
  if (!globalThis.crypto?.subtle) return { state: 'no means' }; // an address without https
  try {
    const record = readSigned(text);
    const at = `/v1/breeders/${record.said.breeder}`;
    const { keys } = await call<{ keys: JsonWebKey[] }>('GET', `${at}/keys.json`);
    const verdict = await checkSigned(record, keys);
    if (verdict !== 'genuine') return { state: verdict };
    const digest = await digestOf(record.text);
    try {
      const { revoked } = await call<{ revoked: boolean }>(
        'GET',
        `${at}/handovers/${record.said.handover}/signed/${digest}`,
      );
      return { state: revoked ? 'revoked' : 'genuine', record, digest };
    } catch (e) {
      if (e instanceof ApiError && e.status === 404) return { state: 'not known here', record, digest };
      throw e;
    }
  } catch (e) {
    if (e instanceof Unreadable) return { state: 'unreadable' };
    if (e instanceof ApiError && e.status === 429) return { state: 'asked too often' };
    if (e instanceof ApiError || e instanceof Offline) return { state: 'unreachable' };
    throw e;
  }
}

export default function CheckRecord(): JSX.Element {
  const [text, setText] = useState('');
  const [busy, setBusy] = useState(false);
  const [found, setFound] = useState<Outcome>();
  const box = useRef<HTMLInputElement>(null);
  const run = async (what: string) => {
    setBusy(true);
    setFound(undefined);
    try {
      setFound(what.length > most ? { state: 'unreadable' } : await check(what));
    } finally {
      setBusy(false);
    }
  };
  return (
    <Screen title={say('Check a handover record')}>
      <p class="lead">
        {say(
          'Somebody gave you the signed record of a snake. Here you see who signed it, what it says, and whether it was changed since.',
        )}
      </p>
      <p class="muted">{say('You need no account. The record is read on this device and is not sent anywhere.')}</p>
      <div class="actions">
        <input
          ref={box}
          class="ear"
          type="file"
          tabIndex={-1}
          aria-label={say('Signed record, .jws')}
          accept=".jws,.txt,application/jose,text/plain"
          onChange={(e) => {
            const file = e.currentTarget.files?.[0];
            e.currentTarget.value = '';
            if (file)
              void file
                .slice(0, most + 1)
                .text()
                .then(run);
          }}
        />
        <Button kind="main" icon="list" busy={busy} onClick={() => box.current?.click()}>
          {say('Open the file')}
        </Button>
      </div>
      <details>
        <summary>{say('Paste it instead')}</summary>
        <form
          class="stack"
          onSubmit={(e) => {
            e.preventDefault();
            void run(text);
          }}
        >
          <Field
            label={say('The signed record')}
            hint={say('One long line in three parts')}
            lines={5}
            value={text}
            onInput={setText}
          />
          <div class="actions">
            <Button type="submit" busy={busy} disabled={text.trim() === ''}>
              {say('Check it')}
            </Button>
          </div>
        </form>
      </details>
      {found && <Found found={found} />}
    </Screen>
  );
}

function Found({ found }: { found: Outcome }): JSX.Element {
  switch (found.state) {
    case 'unreadable':
      return (
        <Notice kind="bad" live title={say('This is no whole signed record')}>
          <p>
            {say(
              'It is another kind of file, was cut off, or was changed. Ask whoever gave it to you to save it anew.',
            )}
          </p>
        </Notice>
      );
    case 'changed':
      return (
        <Notice kind="bad" live title={say('Changed after it was signed')}>
          <p>{say('The signature does not fit what the record says. Do not rely on any of it; ask the breeder.')}</p>
        </Notice>
      );
    case 'unknown key':
      return (
        <Notice kind="bad" live title={say('Not signed by a key of this service')}>
          <p>
            {say(
              'The breeder that it names has no such key here. It comes from another service, whose own page checks it, or somebody made it up. Ask the breeder.',
            )}
          </p>
        </Notice>
      );
    case 'asked too often':
      return (
        <Notice kind="warn" live title={say('Not checked yet')}>
          <p>{say('Many records were checked from here just now. Wait a minute and check it again.')}</p>
        </Notice>
      );
    case 'unreachable':
      return (
        <Notice kind="warn" live title={say('Not checked')}>
          <p>
            {say(
              'The service has the breeder’s key and cannot be reached just now. Try again when there is a connection.',
            )}
          </p>
        </Notice>
      );
    case 'no means':
      return (
        <Notice kind="warn" live title={say('Not checked')}>
          <p>{say('This browser checks signatures only at an address that begins with https.')}</p>
        </Notice>
      );
  }
  const { said } = found.record;
  const signer = said.breeder_name || say('the breeder');
  return (
    <>
      {found.state === 'genuine' && (
        <Notice kind="good" live title={say('Signed by {signer}, and not changed since', { signer })}>
          <p>{say('The breeder did not take the handover back.')}</p>
        </Notice>
      )}
      {found.state === 'revoked' && (
        <Notice kind="warn" live title={say('The breeder took this handover back')}>
          <p>
            {say('{signer} signed it and it was not changed, but it is not valid any more. Ask the breeder.', {
              signer,
            })}
          </p>
        </Notice>
      )}
      {found.state === 'not known here' && (
        <Notice kind="warn" live title={say('Signed by {signer}, and not on file here', { signer })}>
          <p>
            {say(
              'The signature fits. The service has no such handover any more, so it cannot say whether it was taken back. Ask the breeder.',
            )}
          </p>
        </Notice>
      )}
      <Said record={found.record} digest={found.digest} />
    </>
  );
}

function date(iso: string): string {
  const at = new Date(iso);
  return Number.isNaN(at.getTime()) ? iso : formatTime(at, { dateStyle: 'long' });
}

const results: Record<string, string> = {
  eaten: say('ate'),
  refused: say('refused'),
  struck: say('struck and let go'),
  regurgitated: say('brought up'),
};

function parent(p: { name: string; genes: string[] }): string {
  return [p.name, p.genes.join(', ')].filter(Boolean).join(': ');
}

function Said({ record, digest }: { record: SignedRecord; digest: string }): JSX.Element {
  const { said } = record;
  const { animal: a } = said;
  const facts: [string, JSX.Element | string | undefined][] = [
    [say('Signed by'), said.breeder_name],
    [say('Issued'), date(said.issued_at)],
    [say('Handed over'), date(said.handed_over_at)],
    [say('Name or number'), a.name],
    [say('Species'), a.common_name || a.species.replaceAll('_', ' ')],
    [say('Scientific name'), a.scientific_name && <i lang="la">{a.scientific_name}</i>],
    [say('Sex'), a.sex],
    [say('Hatched'), a.hatched && date(`${a.hatched}T12:00:00`)],
    [say('Genes'), a.genes.join(', ')],
    [say('Mother'), parent(said.mother)],
    [say('Father'), parent(said.father)],
    [say('Clutch'), a.clutch],
    [say('Digest'), <code key="d">{inBrief(digest)}</code>],
  ];
  return (
    <>
      <section class="stack" aria-labelledby="said">
        <h2 id="said">{say('What was signed')}</h2>
        <Facts of={facts} />
        <p class="muted">
          {say('A printed record names its digest. The two are the same when the print is of this record.')}
        </p>
        <Rows title={say('Weights')} rows={said.weights.map((w) => [date(w.at), formatMass(w.mass_g)])} />
        <Rows
          title={say('Meals')}
          rows={said.offers.map((o) => [
            date(o.at),
            [results[o.result] ?? o.result, o.prey, o.prey_g ? formatMass(o.prey_g) : ''].filter(Boolean).join(' '),
          ])}
        />
        <Rows
          title={say('Origin and law')}
          rows={said.origin.map((f) => [f.label, [f.text, f.source].filter(Boolean).join(' – ')])}
        />
      </section>
      <section class="stack" aria-labelledby="not">
        <h2 id="not">{say('What this does not prove')}</h2>
        <ul class="bullets">
          <li>{say('That the snake before you is the one in the record. Compare sex, pattern, weight and age.')}</li>
          <li>{say('That what the breeder wrote is true. It shows who wrote it, and that it is unchanged.')}</li>
          <li>{say('Who owns the snake now, or how it has been since. Anybody can hold a copy of a record.')}</li>
          <li>{say('That the law is met where you live. It is no permit and no proof of origin for an authority.')}</li>
        </ul>
      </section>
    </>
  );
}

function Rows({ title, rows }: { title: string; rows: [string, string][] }): JSX.Element | null {
  if (rows.length === 0) return null;
  return (
    <details>
      <summary>
        {title} ({rows.length})
      </summary>
      <table>
        <caption class="ear">{title}</caption>
        <tbody>
          {rows.map(([k, v]) => (
            <tr key={k + v}>
              <th scope="row">{k}</th>
              <td>{v}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </details>
  );
}
