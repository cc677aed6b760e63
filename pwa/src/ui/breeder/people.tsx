import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import type {
  CreateHelperResponseJson,
  CreateSignInLinkResponseJson,
  PersonJson,
} from '../../api/gen/warmhand/v1/access_service_pb';
import { locale } from '../../core/language';
import { say } from '../../core/say';
import { Qr } from '../parts/code';
import { Button, Copy, Field, Notice } from '../parts/controls';
import { problem, useLoad, useSave } from './hooks';
import { Heading, Problem, Trouble, Waiting } from './nav';
import { ask, isOwner, loadPeople, me, refreshMe } from './session';

const pathOf = (p: PersonJson) => `/v1/access/people/${encodeURIComponent(p.personId ?? '')}`;

/** A link that was just made, and for whom. */
interface Made {
  who: PersonJson;
  url: string;
  until: string;
}

export default function PeoplePage(): JSX.Element {
  const loaded = useLoad('people', loadPeople);
  const [made, setMade] = useState<Made | undefined>();
  const link = useSave();
  const owner = isOwner();
  const mine = (p: PersonJson) => p.personId === me.value?.personId;
  const letIn = (who: PersonJson) =>
    link.run(async () => {
      const answer = await ask<CreateSignInLinkResponseJson>('POST', `${pathOf(who)}:createSignInLink`, {});
      setMade({ who, url: answer.url ?? '', until: answer.expireTime ?? '' });
    });
  return (
    <main class="page">
      <Heading>{say('Who works here')}</Heading>
      <p>
        {say(
          'Helpers see your animals and your cases and work in them under their own name. They cannot change or end the account, let others in, or delete an animal.',
        )}
      </p>
      <Problem error={link.error} />
      {made && <SignInLink made={made} self={mine(made.who)} />}
      {Boolean(loaded.error) && <Trouble error={loaded.error} again={loaded.again} />}
      {!loaded.data && !loaded.error && <Waiting />}
      {loaded.data?.people?.map((p) => (
        <Person
          key={p.personId}
          p={p}
          self={mine(p)}
          owner={owner}
          busy={link.busy}
          letIn={() => void letIn(p)}
          changed={() => {
            setMade(undefined);
            loaded.again();
          }}
        />
      ))}
      {owner && (
        <Add
          added={(p) => {
            loaded.again();
            void letIn(p);
          }}
        />
      )}
    </main>
  );
}

function Person(props: {
  p: PersonJson;
  self: boolean;
  owner: boolean;
  busy: boolean;
  letIn: () => void;
  changed: () => void;
}): JSX.Element {
  const { p, self, owner } = props;
  const [doing, setDoing] = useState<'rename' | 'remove' | 'end' | undefined>();
  const [name, setName] = useState(p.displayName ?? '');
  const save = useSave();
  const devices = p.devices ?? 0;
  const done = async (ok: boolean) => {
    if (!ok) return;
    setDoing(undefined);
    if (self) await refreshMe().catch(() => undefined);
    props.changed();
  };
  return (
    <section class="card stack" aria-label={p.displayName}>
      <h2>
        {p.displayName}
        {self && <span class="muted"> {say('(you)')}</span>}
      </h2>
      <p class="muted">
        {p.role === 'breeder' ? say('Owner') : say('Helper')},{' '}
        {devices === 0
          ? say('signed in nowhere yet')
          : devices === 1
            ? say('signed in on one device')
            : say('signed in on {devices} devices', { devices })}
      </p>
      <Problem error={save.error} shown={['display_name']} />
      {doing === 'rename' && (
        <form
          class="stack"
          noValidate
          onSubmit={(e) => {
            e.preventDefault();
            void save.run(() => ask('POST', `${pathOf(p)}:rename`, { displayName: name.trim() || ' ' })).then(done);
          }}
        >
          <Field
            label={say('Name')}
            required
            maxLength={60}
            value={name}
            onInput={setName}
            error={problem(save.error, 'display_name')}
            hint={say('The cases that they look after go by the new name, too.')}
          />
          <div class="actions">
            <Button kind="main" type="submit" busy={save.busy}>
              {say('Save')}
            </Button>
            <Button onClick={() => setDoing(undefined)}>{say('Cancel')}</Button>
          </div>
        </form>
      )}
      {doing === 'remove' && (
        <Notice kind="warn" title={say('Take {displayName} out?', { displayName: p.displayName })}>
          <p>
            {say(
              'All their devices are signed out at once. What they logged and wrote stays. What they saved without network and did not send yet does not come in any more.',
            )}
          </p>
          <p>{say('The cases that they look after are then looked after by whoever comes.')}</p>
          <div class="actions">
            <Button
              kind="danger"
              busy={save.busy}
              onClick={() => void save.run(() => ask('DELETE', pathOf(p))).then(done)}
            >
              {say('Take out')}
            </Button>
            <Button onClick={() => setDoing(undefined)}>{say('Cancel')}</Button>
          </div>
        </Notice>
      )}
      {doing === 'end' && (
        <Notice kind="warn" title={say('Sign out everywhere else?')}>
          <p>
            {say(
              'For a phone that is lost. All your other devices are signed out at once, and links that nobody has used open nothing any more. What they saved without network and did not send yet waits on them until you sign in there again.',
            )}
          </p>
          <p>{say('If the lost phone has a passkey of yours, delete that in the settings, too.')}</p>
          <div class="actions">
            <Button
              kind="danger"
              busy={save.busy}
              onClick={() => void save.run(() => ask('POST', '/v1/access:endOtherSignIns', {})).then(done)}
            >
              {say('Sign out my other devices')}
            </Button>
            <Button onClick={() => setDoing(undefined)}>{say('Cancel')}</Button>
          </div>
        </Notice>
      )}
      {!doing && (owner || self) && (
        <div class="actions">
          <Button icon="key" busy={props.busy} onClick={props.letIn}>
            {self ? say('Sign in on another device') : say('Make a sign-in link')}
          </Button>
          <Button
            onClick={() => setDoing('rename')}
            aria-label={say('Rename {displayName}', { displayName: p.displayName })}
          >
            {say('Rename')}
          </Button>
          {self && devices > 1 && <Button onClick={() => setDoing('end')}>{say('Sign out everywhere else')}</Button>}
          {owner && p.role === 'helper' && (
            <Button
              kind="danger"
              onClick={() => setDoing('remove')}
              aria-label={say('Take {displayName} out', { displayName: p.displayName })}
            >
              {say('Take out')}
            </Button>
          )}
        </div>
      )}
    </section>
  );
}

function SignInLink({ made, self }: { made: Made; self: boolean }): JSX.Element {
  const at = new Date(made.until).toLocaleTimeString(locale(), { hour: '2-digit', minute: '2-digit' });
  return (
    <section class="card stack" aria-labelledby="p-link">
      <h2 id="p-link">
        {self ? say('Your other device') : say('A way in for {name}', { name: made.who.displayName })}
      </h2>
      <div class="ticket">
        <div>
          <Qr
            text={made.url}
            label={
              self
                ? say('QR code that signs you in')
                : say('QR code that signs {name} in', { name: made.who.displayName })
            }
          />
          <div class="stack">
            <p>{say('Scan this with the other device’s camera, or send the link.')}</p>
            <p class="muted">{say('Works once, until {at}.', { at })}</p>
          </div>
        </div>
      </div>
      <Notice kind="warn">
        <p>
          {self
            ? say('Whoever has this link gets in as you. It is shown this once.')
            : say('Whoever has this link gets in as {name}. It is shown this once.', { name: made.who.displayName })}
        </p>
      </Notice>
      <div class="actions">
        <Copy text={made.url} label={say('Copy the link')} otherwise={say('Scan the code instead.')} />
      </div>
    </section>
  );
}

function Add({ added }: { added: (p: PersonJson) => void }): JSX.Element {
  const [name, setName] = useState('');
  const save = useSave();
  return (
    <form
      class="card stack"
      noValidate
      aria-labelledby="p-add"
      onSubmit={(e) => {
        e.preventDefault();
        void save
          .run(async () => {
            const answer = await ask<CreateHelperResponseJson>('POST', '/v1/access/people', {
              displayName: name.trim() || ' ',
            });
            if (answer.person) added(answer.person);
          })
          .then((ok) => ok && setName(''));
      }}
    >
      <h2 id="p-add">{say('Let a helper in')}</h2>
      <Field
        label={say('Helper’s name')}
        required
        maxLength={60}
        value={name}
        onInput={setName}
        hint={say('As you call each other. Keepers do not see it.')}
        error={problem(save.error, 'display_name')}
      />
      <Problem error={save.error} shown={['display_name']} />
      <div class="actions">
        <Button kind="main" type="submit" busy={save.busy}>
          {say('Make a sign-in link')}
        </Button>
      </div>
    </form>
  );
}
