import type { JSX } from 'preact';
import { useEffect, useState } from 'preact/hooks';
import { ApiError, type Method, Offline } from '../../api/client';
import type { CreateLetterLinkResponseJson, LetterLinkJson, ListLetterLinksResponseJson } from '../../core/contract';
import { say } from '../../core/say';
import { day } from '../../core/time';
import { Button, Failed, Field } from './controls';
import { SavePdf } from './pdf';

export interface VetLetterProps {
  fetch: (body: { paper: string; concern: string; pictures: number }) => Promise<Blob>;
  main?: boolean | undefined;
  links: LinksProps;
}

interface LinksProps {
  /** Resource name of the case. */
  name: string;
  send: <T>(method: Method, path: string, body?: unknown) => Promise<T>;
}

/** A letter that whoever drives to the vet takes along. */
export function VetLetter({ fetch, main, links }: VetLetterProps): JSX.Element {
  const [concern, setConcern] = useState('');
  const [pictures, setPictures] = useState('6');
  return (
    <div class="stack">
      <p>
        {say(
          'For a vet who treats reptiles: weights, meals, what was seen, warmth and setup as they were logged, and the latest pictures. It names no illness. Call first when it is urgent; the letter can come after.',
        )}
      </p>
      <Field
        label={say('What worries you (may stay empty)')}
        value={concern}
        onInput={setConcern}
        lines={4}
        maxLength={1000}
      />
      <SavePdf
        label={say('Save the letter')}
        name="vet-letter"
        main={main}
        fetch={(paper) => fetch({ paper, concern, pictures: Number(pictures) })}
      >
        <Field
          label={say('Pictures')}
          value={pictures}
          onInput={setPictures}
          options={[
            { value: '6', label: say('The latest 6') },
            { value: '2', label: say('The latest 2') },
            { value: '0', label: say('None') },
          ]}
        />
      </SavePdf>
      <Links {...links} concern={concern} />
    </div>
  );
}

/** Links that open the letter without a sign-in: made, copied, listed and ended. */
function Links({ name, send, concern }: LinksProps & { concern: string }): JSX.Element {
  const [open, setOpen] = useState<readonly LetterLinkJson[]>([]);
  const [url, setUrl] = useState('');
  const [said, setSaid] = useState('');
  const [problem, setProblem] = useState('');
  const [busy, setBusy] = useState(false);
  const attempt = async (what: () => Promise<void>) => {
    setBusy(true);
    setSaid('');
    setProblem('');
    try {
      await what();
    } catch (e) {
      if (!(e instanceof ApiError || e instanceof Offline)) throw e;
      setProblem(e.message);
    } finally {
      setBusy(false);
    }
  };
  const list = async () =>
    setOpen((await send<ListLetterLinksResponseJson>('GET', `/v1/${name}/letterLinks`)).links ?? []);
  useEffect(() => {
    void list().catch(() => undefined); // without network there is nothing to list, and a new link says so
  }, [name]);
  return (
    <section class="stack" aria-labelledby="letter-links">
      <h2 id="letter-links">{say('Or send a link')}</h2>
      <p>
        {say(
          'Whoever has the link can open the letter for 14 days, as it is on that day and with the words above. They need no account. Each opening is listed among who looked at the case.',
        )}
      </p>
      <Failed text={problem} />
      {url && <p>{say('The link, shown only now: {url}', { url: <code>{url}</code> })}</p>}
      <div class="actions">
        {url && (
          <Button
            kind="main"
            onClick={() =>
              void navigator.clipboard.writeText(url).then(
                () => setSaid(say('Copied.')),
                () => setSaid(say('This browser does not copy. Mark the link and copy it by hand.')),
              )
            }
          >
            {say('Copy the link')}
          </Button>
        )}
        <Button
          busy={busy}
          onClick={() =>
            void attempt(async () => {
              const made = await send<CreateLetterLinkResponseJson>('POST', `/v1/${name}:createLetterLink`, {
                concern,
              });
              setUrl(made.url ?? '');
              await list();
            })
          }
        >
          {url ? say('Make another link') : say('Make a link')}
        </Button>
      </div>
      <p class="muted" role="status">
        {said}
      </p>
      {open.length > 0 && (
        <ul class="list" aria-label={say('Links that open the letter')}>
          {open.map((l) => (
            <li key={l.id} class="row">
              <span>
                {l.byKeeper
                  ? say('Made {day} by the keeper, open until {until}', {
                      day: day(l.createTime ?? ''),
                      until: day(l.expireTime ?? ''),
                    })
                  : say('Made {day} by the breeder, open until {until}', {
                      day: day(l.createTime ?? ''),
                      until: day(l.expireTime ?? ''),
                    })}
              </span>
              <Button
                kind="quiet"
                busy={busy}
                onClick={() =>
                  void attempt(async () => {
                    await send('POST', `/v1/${name}:endLetterLink`, { id: l.id });
                    setUrl('');
                    await list();
                    setSaid(say('The link opens nothing any more.'));
                  })
                }
              >
                {say('End it')} <span class="ear">{say('made {day}', { day: day(l.createTime ?? '') })}</span>
              </Button>
            </li>
          ))}
        </ul>
      )}
    </section>
  );
}
