import type { JSX } from 'preact';
import { useContext, useEffect, useState } from 'preact/hooks';
import { asBreeder, withQuery } from '../../api/client';
import type {
  CreateTokenResponseJson,
  ListPasskeysResponseJson,
  ListTokensResponseJson,
} from '../../api/gen/warmhand/v1/access_service_pb';
import type {
  BreederJson,
  GetBreederResponseJson,
  HemisphereJson,
  UpdateBreederResponseJson,
} from '../../api/gen/warmhand/v1/breeder_service_pb';
import type { ListLooksResponseJson } from '../../core/contract';
import { whatLooked, whoLooked } from '../../core/looks';
import { say } from '../../core/say';
import { changeSettings, settings } from '../../core/settings';
import { ago, day } from '../../core/time';
import { Button, Field, Notice } from '../parts/controls';
import { Icon } from '../parts/icons';
import { Languages } from '../parts/languages';
import { Reminders } from '../parts/reminders';
import { FormError, problem, useLoad, useSave } from './hooks';
import { Go, Heading, Link, Problem, Trouble, Waiting } from './nav';
import { ask, breeder, isOwner, makePasskey, me, newRecoveryCodes, passkeysWork, refreshMe, signOut } from './session';
import { RecoveryCodes } from './signin';
import { waiting } from './table';
import { setSingleKeys, singleKeys } from './triage';

export function SettingsPage(): JSX.Element {
  const go = useContext(Go);
  const out = useSave();
  const unsent = waiting.value.length;
  const owner = isOwner();
  return (
    <main class="page">
      <Heading>{say('Settings')}</Heading>
      {owner && <Account />}
      <Units />
      <Reminders as={asBreeder} breeder />
      <Passkeys />
      <Recovery />
      {owner && <Tokens />}
      <nav aria-label={say('More')}>
        <ul class="list plain">
          <li>
            <Link to="/b/people">
              <Icon name="person" />
              <span class="grow">{say('Who works here: helpers, and signing in on another device')}</span>
              <Icon name="next" />
            </Link>
          </li>
          <li>
            <Link to="/b/insight">
              <Icon name="search" />
              <span class="grow">{say('What your sales show, all together')}</span>
              <Icon name="next" />
            </Link>
          </li>
          <li>
            <Link to="/b/phrases">
              <Icon name="message" />
              <span class="grow">{say('Your phrases: what you write often, with an animal’s facts filled in')}</span>
              <Icon name="next" />
            </Link>
          </li>
          <li>
            <Link to="/b/thresholds">
              <Icon name="warn" />
              <span class="grow">
                {say('Your own thresholds: when you are asked to step in, tried on your past cases')}
              </span>
              <Icon name="next" />
            </Link>
          </li>
          <li>
            <Link to="/b/checkins">
              <Icon name="clock" />
              <span class="grow">{say('When keepers are asked how it goes')}</span>
              <Icon name="next" />
            </Link>
          </li>
          <li>
            <Link to="/b/lists">
              <Icon name="copy" />
              <span class="grow">{say('Bring in a list, or take all that is yours out')}</span>
              <Icon name="next" />
            </Link>
          </li>
          <li>
            <Link to="/b/tables">
              <Icon name="book" />
              <span class="grow">{say('What the program goes by: every limit and threshold, with its source')}</span>
              <Icon name="next" />
            </Link>
          </li>
        </ul>
      </nav>
      {owner && <Looks />}
      {owner && <TakeAndLeave />}
      <section class="stack" aria-label={say('Sign out')}>
        <Problem error={out.error} />
        {unsent > 0 && (
          <Notice kind="warn">
            <p>
              {say(
                {
                  one: 'One entry is not sent yet. {link}, or sign out: they stay on this device, out of sight, and go when you sign in here again.',
                  other:
                    '{n} entries are not sent yet. {link}, or sign out: they stay on this device, out of sight, and go when you sign in here again.',
                },
                { n: unsent, link: <Link to="/b/unsent">{say('Look and send first')}</Link> },
              )}
            </p>
          </Notice>
        )}
        <div class="actions">
          <Button busy={out.busy} onClick={() => void out.run(signOut).then((ok) => ok && go('/b'))}>
            {unsent > 0 ? say('Sign out and keep them') : say('Sign out on this device')}
          </Button>
        </div>
        <p class="muted">{say('The copy of your stock book on this device is deleted.')}</p>
        <p class="muted">
          {me.value?.userName && `${say('Signed in as {name}.', { name: me.value.userName })} `}
          {me.value?.version && say('Version {version}.', { version: me.value.version })}
        </p>
      </section>
    </main>
  );
}

/** A copy of everything, and the end of the account. */
function TakeAndLeave(): JSX.Element {
  const [typed, setTyped] = useState('');
  const save = useSave();
  const erasing = me.value?.eraseTime;
  const copy = (
    <div class="row">
      <a class="button" href={`/v1/${breeder()}/everything.zip`} download="everything.zip">
        {say('Download everything')}
      </a>
    </div>
  );
  const keep = () =>
    save.run(async () => {
      await ask('POST', `/v1/${breeder()}:cancelErasure`, {});
      await refreshMe();
    });
  return (
    <section class="card stack" aria-labelledby="s-e">
      <h2 id="s-e">{say('Your data')}</h2>
      <p>{say('Everything in one file: stock book, handovers, cases with messages, pictures, and who looked.')}</p>
      <p class="muted">
        {say('Names of columns, fields and codes in it are a format, and English in every language.')}
      </p>
      {copy}
      {erasing ? (
        <Notice kind="warn" title={say('This account is erased on {day}', { day: day(erasing) })}>
          <p>{say('Until then everything works, and your keepers are told. Nothing can be handed over.')}</p>
          <Problem error={save.error} />
          <div class="actions">
            <Button kind="main" busy={save.busy} onClick={() => void keep()}>
              {say('Keep the account')}
            </Button>
          </div>
        </Notice>
      ) : (
        <details>
          <summary>{say('Erase this account')}</summary>
          <form
            class="stack"
            noValidate
            onSubmit={(e) => {
              e.preventDefault();
              void save
                .run(async () => {
                  if (typed.trim().toLowerCase() !== say('erase'))
                    throw new FormError(
                      'confirm',
                      say('Type the word erase, so that this does not happen by accident.'),
                    );
                  await ask('POST', `/v1/${breeder()}:scheduleErasure`, { confirm: 'erase' });
                  await refreshMe();
                })
                .then((ok) => ok && setTyped(''));
            }}
          >
            <p>
              {say(
                'In 14 days all of it is gone: animals, cases, messages, pictures, helpers and tokens. Your keepers see it at once in their app and can take a copy of what is theirs. Until the day you can change your mind.',
              )}
            </p>
            <p>{say('Older safety copies still hold it until whoever runs the service throws them away.')}</p>
            <Field
              label={say('To go on, type erase')}
              maxLength={20}
              value={typed}
              onInput={setTyped}
              error={problem(save.error, 'confirm')}
            />
            <Problem error={save.error} shown={['confirm']} />
            <div class="actions">
              <Button type="submit" kind="danger" busy={save.busy}>
                {say('Erase the account in 14 days')}
              </Button>
            </div>
          </form>
        </details>
      )}
    </section>
  );
}

/** Who of the account looked at keepers' records. Keepers see the same of their own, without names. */
function Looks(): JSX.Element {
  const [open, setOpen] = useState(false);
  const loaded = useLoad(open ? 'looks' : '', async (signal) =>
    open ? ask<ListLooksResponseJson>('GET', `/v1/${breeder()}/looks`, undefined, { signal }) : undefined,
  );
  return (
    <details class="card" onToggle={(e) => setOpen(e.currentTarget.open)}>
      <summary>{say('Who looked at keepers’ records')}</summary>
      <div class="stack">
        <p class="muted">
          {say(
            'You, your helpers and your programs, for a year. Each keeper sees the same of their own animal, without names. The list of who needs you does not count; opening a case does.',
          )}
        </p>
        {Boolean(loaded.error) && <Trouble error={loaded.error} again={loaded.again} />}
        {open && !loaded.data && !loaded.error && <Waiting />}
        {loaded.data?.looks?.length === 0 && <p>{say('Nobody has opened one yet.')}</p>}
        <ul class="list">
          {loaded.data?.looks?.slice(0, 200).map((l) => (
            <li key={`${l.case} ${l.by} ${l.byName} ${l.what} ${l.firstTime}`}>
              <span class="grow">
                {whoLooked(l)}
                <span class="muted block">
                  {l.animalName}: {whatLooked(l)}
                </span>
              </span>
            </li>
          ))}
        </ul>
      </div>
    </details>
  );
}

function Account(): JSX.Element {
  const name = breeder();
  const loaded = useLoad(name, async (signal) => {
    const answer = await ask<GetBreederResponseJson>('GET', `/v1/${name}`, undefined, { signal });
    return answer.breeder ?? {};
  });
  const [draft, setDraft] = useState<BreederJson>();
  const [saved, setSaved] = useState(false);
  const save = useSave();
  useEffect(() => {
    if (loaded.data) setDraft(loaded.data);
  }, [loaded.data]);
  const put = (change: Partial<BreederJson>) => {
    setSaved(false);
    setDraft({ ...draft, ...change });
  };
  return (
    <section class="card stack" aria-labelledby="s-a">
      <h2 id="s-a">{say('What keepers see')}</h2>
      {!draft && (loaded.error ? <Trouble error={loaded.error} again={loaded.again} /> : <Waiting />)}
      {draft && (
        <form
          class="stack"
          noValidate
          onSubmit={(e) => {
            e.preventDefault();
            void save
              .run(async () => {
                if (!draft.displayName?.trim())
                  throw new FormError('display_name', say('Give a name: keepers know you by it.'));
                const answer = await ask<UpdateBreederResponseJson>(
                  'PATCH',
                  withQuery(`/v1/${name}`, { updateMask: 'display_name,contact,time_zone,hemisphere' }),
                  {
                    displayName: draft.displayName.trim(),
                    contact: draft.contact?.trim() ?? '',
                    timeZone: draft.timeZone?.trim() ?? '',
                    hemisphere: draft.hemisphere ?? 'HEMISPHERE_UNSPECIFIED',
                    ...(draft.etag && { etag: draft.etag }),
                  } satisfies BreederJson,
                );
                if (answer.breeder) loaded.set(answer.breeder);
                await refreshMe();
              })
              .then(setSaved);
          }}
        >
          <Field
            label={say('Name')}
            required
            maxLength={80}
            value={draft.displayName ?? ''}
            onInput={(displayName) => put({ displayName })}
            error={problem(save.error, 'display_name')}
          />
          <Field
            label={say('How a keeper reaches you')}
            hint={say('Printed on the record, such as a phone number')}
            maxLength={200}
            value={draft.contact ?? ''}
            onInput={(contact) => put({ contact })}
            error={problem(save.error, 'contact')}
          />
          <Field
            label={say('Time zone')}
            list="zones"
            hint={say('Your days are counted in it')}
            maxLength={64}
            value={draft.timeZone ?? ''}
            onInput={(timeZone) => put({ timeZone })}
            error={problem(save.error, 'time_zone')}
          />
          <datalist id="zones">
            {Intl.supportedValuesOf('timeZone').map((z) => (
              <option key={z} value={z} />
            ))}
          </datalist>
          <Field
            label={say('Hemisphere')}
            hint={say('Decides when the cool season is')}
            value={draft.hemisphere ?? 'HEMISPHERE_NORTH'}
            onInput={(h) => put({ hemisphere: h as HemisphereJson })}
            options={[
              { value: 'HEMISPHERE_NORTH', label: say('Northern') },
              { value: 'HEMISPHERE_SOUTH', label: say('Southern') },
            ]}
            error={problem(save.error, 'hemisphere')}
          />
          <Problem error={save.error} shown={['display_name', 'contact', 'time_zone', 'hemisphere']} />
          <div class="actions">
            <Button kind="main" type="submit" busy={save.busy}>
              {say('Save')}
            </Button>
            <span role="status">{saved && say('Saved.')}</span>
          </div>
        </form>
      )}
    </section>
  );
}

function Units(): JSX.Element {
  const [keys, setKeys] = useState(singleKeys());
  return (
    <section class="card stack" aria-labelledby="s-u">
      <h2 id="s-u">{say('On this device')}</h2>
      <Languages inSettings />
      <fieldset class="field">
        <legend>{say('Weights')}</legend>
        <div class="choices">
          {(['g', 'oz'] as const).map((mass) => (
            <label key={mass}>
              <input
                type="radio"
                name="mass"
                checked={settings.value.mass === mass}
                onChange={() => changeSettings({ mass })}
              />
              {mass === 'g' ? say('Grams') : say('Ounces')}
            </label>
          ))}
        </div>
      </fieldset>
      <fieldset class="field">
        <legend>{say('Temperatures')}</legend>
        <div class="choices">
          {(['C', 'F'] as const).map((temp) => (
            <label key={temp}>
              <input
                type="radio"
                name="temp"
                checked={settings.value.temp === temp}
                onChange={() => changeSettings({ temp })}
              />
              {temp === 'C' ? say('Celsius') : say('Fahrenheit')}
            </label>
          ))}
        </div>
      </fieldset>
      <label>
        <input
          type="checkbox"
          checked={keys}
          onChange={(e) => {
            setKeys(e.currentTarget.checked);
            setSingleKeys(e.currentTarget.checked);
          }}
        />
        {say('j and k move in the triage list')}
      </label>
    </section>
  );
}

function Passkeys(): JSX.Element {
  const loaded = useLoad('passkeys', (signal) =>
    ask<ListPasskeysResponseJson>('GET', '/v1/access/passkeys', undefined, { signal }),
  );
  const [label, setLabel] = useState('');
  const add = useSave();
  const remove = useSave();
  return (
    <section class="card stack" aria-labelledby="s-p">
      <h2 id="s-p">{say('Passkeys')}</h2>
      {Boolean(loaded.error) && <Trouble error={loaded.error} again={loaded.again} />}
      {loaded.data?.passkeys?.length === 0 && (
        <p class="muted">{say('None yet. Make one, so that you can come back without a link.')}</p>
      )}
      <ul class="list">
        {loaded.data?.passkeys?.map((k) => (
          <li key={k.passkeyId} class="row">
            <span>
              <strong>{k.label || say('Passkey')}</strong>{' '}
              <span class="muted">
                {k.useTime
                  ? say('made {ago}, used {used}', { ago: ago(k.createTime), used: ago(k.useTime) })
                  : say('made {ago}', { ago: ago(k.createTime) })}
              </span>
            </span>
            <span class="end">
              <Button
                kind="danger"
                busy={remove.busy}
                aria-label={say('Remove the passkey {label}', { label: k.label ?? '' })}
                onClick={() => {
                  void remove
                    .run(() => ask('DELETE', `/v1/access/passkeys/${encodeURIComponent(k.passkeyId ?? '')}`))
                    .then((ok) => {
                      if (!ok) return;
                      loaded.again();
                      void refreshMe().catch(() => undefined);
                    });
                }}
              >
                {say('Remove')}
              </Button>
            </span>
          </li>
        ))}
      </ul>
      <Problem error={remove.error} />
      {passkeysWork() && (
        <form
          class="stack"
          onSubmit={(e) => {
            e.preventDefault();
            void add
              .run(() => makePasskey(label.trim()))
              .then((ok) => {
                if (!ok) return;
                setLabel('');
                loaded.again();
              });
          }}
        >
          <Field
            label={say('Name for this device')}
            maxLength={60}
            value={label}
            onInput={setLabel}
            error={problem(add.error, 'label')}
          />
          <Problem error={add.error} shown={['label']} />
          <div class="actions">
            <Button type="submit" icon="key" busy={add.busy}>
              {say('Make a passkey here')}
            </Button>
          </div>
        </form>
      )}
    </section>
  );
}

function Recovery(): JSX.Element {
  const [codes, setCodes] = useState<string[]>([]);
  const make = useSave();
  return (
    <section class="card stack" aria-labelledby="s-r">
      <h2 id="s-r">{say('Recovery codes')}</h2>
      {codes.length ? (
        <RecoveryCodes codes={codes} />
      ) : (
        <>
          <p class="muted">
            {say('{recoveryCodes} left. New ones make the old ones useless.', {
              recoveryCodes: me.value?.recoveryCodes ?? 0,
            })}
          </p>
          <Problem error={make.error} />
          <div class="actions">
            <Button busy={make.busy} onClick={() => void make.run(async () => setCodes(await newRecoveryCodes()))}>
              {say('Make new recovery codes')}
            </Button>
          </div>
        </>
      )}
    </section>
  );
}

function Tokens(): JSX.Element {
  const loaded = useLoad('tokens', (signal) =>
    ask<ListTokensResponseJson>('GET', '/v1/access/tokens', undefined, { signal }),
  );
  const [label, setLabel] = useState('');
  const [readOnly, setReadOnly] = useState(true);
  const [days, setDays] = useState('365');
  const [secret, setSecret] = useState('');
  const make = useSave();
  const remove = useSave();
  return (
    <section class="card stack" aria-labelledby="s-t">
      <h2 id="s-t">{say('Tokens for programs')}</h2>
      <p class="muted">{say('A program that talks to the service for you needs one. See /api for what it can ask.')}</p>
      {Boolean(loaded.error) && <Trouble error={loaded.error} again={loaded.again} />}
      <ul class="list">
        {loaded.data?.tokens?.map((t) => (
          <li key={t.tokenId} class="row">
            <span>
              <strong>{t.label}</strong>{' '}
              <span class="muted">
                {t.readOnly
                  ? say('reads only, until {day}', { day: day(t.expireTime ?? '') })
                  : say('reads and writes, until {day}', { day: day(t.expireTime ?? '') })}
              </span>
            </span>
            <span class="end">
              <Button
                kind="danger"
                busy={remove.busy}
                aria-label={say('End the token {label}', { label: t.label ?? '' })}
                onClick={() => {
                  void remove
                    .run(() => ask('DELETE', `/v1/access/tokens/${encodeURIComponent(t.tokenId ?? '')}`))
                    .then((ok) => ok && loaded.again());
                }}
              >
                {say('End')}
              </Button>
            </span>
          </li>
        ))}
      </ul>
      <Problem error={remove.error} />
      {secret && (
        <Notice kind="warn" live title={say('Shown this once')}>
          <p>
            <code class="secret">{secret}</code>
          </p>
        </Notice>
      )}
      <details>
        <summary>{say('Make a token')}</summary>
        <form
          class="stack"
          noValidate
          onSubmit={(e) => {
            e.preventDefault();
            void make
              .run(async () => {
                if (!label.trim())
                  throw new FormError('label', say('Give it a name, so that you know later what it is for.'));
                const n = Number(days.trim());
                if (!Number.isInteger(n) || n < 1 || n > 730)
                  throw new FormError('days', say('Give whole days, from 1 to 730.'));
                const answer = await ask<CreateTokenResponseJson>('POST', '/v1/access/tokens', {
                  label: label.trim(),
                  readOnly,
                  days: n,
                });
                setSecret(answer.secret ?? '');
              })
              .then((ok) => {
                if (!ok) return;
                setLabel('');
                loaded.again();
              });
          }}
        >
          <Field
            label={say('What it is for')}
            maxLength={60}
            value={label}
            onInput={setLabel}
            error={problem(make.error, 'label')}
          />
          <Field
            label={say('Valid for')}
            unit={say('days')}
            inputMode="numeric"
            value={days}
            onInput={setDays}
            error={problem(make.error, 'days')}
          />
          <label>
            <input type="checkbox" checked={readOnly} onChange={(e) => setReadOnly(e.currentTarget.checked)} />
            {say('It may only read')}
          </label>
          <Problem error={make.error} shown={['label', 'days']} />
          <div class="actions">
            <Button type="submit" busy={make.busy}>
              {say('Make the token')}
            </Button>
          </div>
        </form>
      </details>
    </section>
  );
}
