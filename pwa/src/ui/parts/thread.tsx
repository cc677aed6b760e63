import type { ComponentChildren, JSX } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import type { EntryJson, SetupMarkJson } from '../../core/contract';
import { byLetters } from '../../core/ids';
import { facts, say } from '../../core/say';
import { ago } from '../../core/time';
import { entryLine, type Names } from '../../core/words';
import { dropDraft, isFull, readDraft, writeDraft } from '../../store/db';
import type { NewPhoto } from '../../store/outbox';
import { Button, Failed, Field } from './controls';
import { AddPictures, mostPhotos, Pictures, twice } from './pictures';
import type { Stage } from './stage';

/** What is being written; kept on the device until it is sent. */
export interface MessageDraft {
  text: string;
  photos: NewPhoto[];
}

const empty: MessageDraft = { text: '', photos: [] };

export interface ThreadProps {
  /** `breeders/{b}/cases/{c}`, whose pictures they are. */
  case: string;
  /** Any entries; messages and agreed steps are picked, oldest first. */
  entries: readonly EntryJson[];
  /** Whose screen it is: their own messages stand on the other side. */
  me: 'breeder' | 'keeper';
  breederName?: string | undefined;
  keeperName?: string | undefined;
  names?: Names | undefined;
  /** Under which name the draft lies on this device. */
  draft: string;
  /** Sends or stores the message. When it throws, what was written stays and the error is shown. */
  onSend: (message: MessageDraft) => Promise<unknown>;
  /** Shown instead of the box, such as that the follow-up has ended. */
  closed?: string | undefined;
  /** Names of entries that are still on this device only. */
  unsent?: ReadonlySet<string> | undefined;
  /** Up to when what this person wrote has arrived at the other and was opened there, by the time it came to the service. */
  receipts?: { got?: string | undefined; read?: string | undefined } | undefined;
  /** What the person writes often, as it would be sent here. */
  phrases?: readonly string[] | undefined;
  /** Below the phrases, such as where to change them. */
  phrasesNote?: ComponentChildren;
}

/** How far a message of one's own has come; '' when nothing is known of it. */
export function receiptOf(e: EntryJson, r: ThreadProps['receipts']): '' | 'sent' | 'arrived' | 'read' {
  const came = Date.parse(e.receiveTime ?? '');
  if (!r || Number.isNaN(came)) return '';
  if (came <= Date.parse(r.read ?? '')) return 'read';
  return came <= Date.parse(r.got ?? '') ? 'arrived' : 'sent';
}

const receiptWords = { sent: say('sent'), arrived: say('arrived'), read: say('read') } as const;

/** What breeder and keeper wrote to each other, with the steps they agreed. */
export function Thread(p: ThreadProps): JSX.Element {
  const shown = p.entries
    .filter((e) => (e.message || e.step) && !e.replacedBy)
    .sort((a, b) => byLetters(a.happenTime, b.happenTime));
  const byKeeper = (e: EntryJson) => e.by === 'ACTOR_KIND_KEEPER' || (!e.by && p.me === 'keeper');
  const isMine = (e: EntryJson) => byKeeper(e) === (p.me === 'keeper');
  const who = (e: EntryJson) => {
    if (isMine(e)) return say('You');
    return byKeeper(e) ? p.keeperName || say('Keeper') : p.breederName || say('Breeder');
  };
  return (
    <div class="thread">
      {shown.length === 0 && <p class="muted">{say('Nothing written yet.')}</p>}
      <ol>
        {shown.map((e) => {
          const mine = isMine(e);
          const name = who(e);
          const photos = e.message?.photos ?? [];
          const receipt = mine && e.message ? receiptOf(e, p.receipts) : '';
          return (
            <li key={e.name} class={`${e.step ? 'agreed' : 'said'} ${mine ? 'mine' : 'theirs'}`}>
              <p class="meta">
                {facts(
                  name,
                  ago(e.happenTime),
                  p.unsent?.has(e.name ?? '') ? say('not sent yet') : receipt && receiptWords[receipt],
                )}
              </p>
              <p class="text">{entryLine(e, p.names)}</p>
              {e.step && e.note && <p class="muted">{e.note}</p>}
              {e.message?.mark && (
                <p class="muted">
                  {say('About: {pointTitle}', { pointTitle: pointTitle(e.message.mark.point, p.names) })}
                </p>
              )}
              {e.message?.mark?.photo && <Place case={p.case} mark={e.message.mark} />}
              {photos.length > 0 && (
                <Pictures
                  pictures={photos.map((id) => ({
                    name: `${p.case}/photos/${id}`,
                    words: mine
                      ? say('Picture from you: {start}', { start: start(e.message?.text) })
                      : say('Picture from {name}: {start}', { name, start: start(e.message?.text) }),
                  }))}
                  waiting={p.me === 'keeper' || p.unsent?.has(e.name ?? '') === true}
                />
              )}
            </li>
          );
        })}
      </ol>
      {p.closed ? <p class="muted">{p.closed}</p> : <Write key={p.draft} {...p} />}
    </div>
  );
}

/** The picture that a mark is on, with its place; code and picture are fetched when somebody asks. */
function Place({ case: name, mark }: { case: string; mark: SetupMarkJson }): JSX.Element {
  const [Shown, setShown] = useState<typeof Stage>();
  if (!Shown) {
    return (
      <div class="actions">
        <Button onClick={() => void import('./stage').then((m) => setShown(() => m.Stage))}>
          {say('Show the place')}
        </Button>
      </div>
    );
  }
  return (
    <Shown
      src={`/v1/${name}/photos/${mark.photo}/1600`}
      alt={say('The picture it is about')}
      markers={mark.at ? [{ x: Number(mark.at.x), y: Number(mark.at.y), words: say('The place it is about') }] : []}
    />
  );
}

function pointTitle(code: string | undefined, names: Names | undefined): string {
  return names?.points?.find((x) => x.code === code)?.title ?? say('the setup');
}

/** The beginning of a message, for a picture's description. */
function start(text = ''): string {
  return text.length > 80 ? `${text.slice(0, 79)}…` : text;
}

function Write(p: ThreadProps): JSX.Element {
  const [draft, setDraft] = useState(empty);
  const [busy, setBusy] = useState(false);
  const [error, setError] = useState('');
  const latest = useRef(draft);
  const writing = useRef(Promise.resolve());

  useEffect(() => {
    void readDraft<MessageDraft>(p.draft)
      .catch(() => undefined)
      .then((kept) => {
        if (!kept || latest.current !== empty) return;
        latest.current = kept;
        setDraft(kept);
      });
  }, [p.draft]);

  const change = (part: Partial<MessageDraft>) => {
    const next = { ...latest.current, ...part };
    latest.current = next;
    setDraft(next);
    setError('');
    writing.current = writing.current
      .then(() => writeDraft(p.draft, next))
      .catch((e: unknown) => {
        // Text alone is no loss to speak of while the page is open; a picture is.
        if (next.photos.length > 0)
          setError(
            isFull(e)
              ? say('This device is full: the message is not kept until it is sent.')
              : say('This device does not keep the message until it is sent.'),
          );
      });
  };

  const send = async () => {
    const { photos } = latest.current;
    const text = latest.current.text.trim() || pictureText(photos.length);
    if (!text) return;
    setBusy(true);
    setError('');
    try {
      await writing.current;
      await p.onSend({ text, photos });
      latest.current = empty;
      setDraft(empty);
      await dropDraft(p.draft).catch(() => undefined);
    } catch (e) {
      setError(e instanceof Error ? e.message : String(e));
    } finally {
      setBusy(false);
    }
  };

  return (
    <form
      class="stack"
      onSubmit={(e) => {
        e.preventDefault();
        void send();
      }}
    >
      <Field
        label={say('Message')}
        disabled={busy}
        value={draft.text}
        onInput={(text) => change({ text })}
        lines={2}
        maxLength={4000}
      />
      {p.phrases && (
        <details class="phrases">
          <summary>{say('Your phrases')}</summary>
          {p.phrases.length === 0 && <p class="muted">{say('There is none yet.')}</p>}
          <ul>
            {p.phrases.map((text) => (
              <li key={text}>
                <button
                  type="button"
                  disabled={busy}
                  onClick={(e) => {
                    const was = latest.current.text.trim();
                    change({ text: was ? `${was}\n${text}` : text });
                    const form = e.currentTarget.closest('form');
                    const details = e.currentTarget.closest('details');
                    if (details) details.open = false;
                    form?.querySelector('textarea')?.focus();
                  }}
                >
                  {text}
                </button>
              </li>
            ))}
          </ul>
          {p.phrasesNote}
        </details>
      )}
      {draft.photos.length > 0 && (
        <Pictures
          pictures={draft.photos.map((photo, i) => ({
            name: `${p.case}/photos/${photo.id}`,
            words: say('Picture {i}, not sent yet', { i: i + 1 }),
            photo,
          }))}
          under={(at) => (
            <Button
              kind="quiet"
              disabled={busy}
              onClick={() => change({ photos: latest.current.photos.filter((_, i) => i !== at) })}
            >
              {say('Remove picture {at}', { at: at + 1 })}
            </Button>
          )}
        />
      )}
      <Failed text={error} />
      <AddPictures
        of={p.case}
        room={mostPhotos - draft.photos.length}
        busy={busy}
        settled={() => writing.current}
        onBusy={setBusy}
        onMade={(made) => {
          if (!made.ok) setError(made.problem);
          else if (latest.current.photos.some((x) => x.id === made.photo.id)) setError(twice);
          else change({ photos: [...latest.current.photos, made.photo] });
        }}
      />
      <div class="actions">
        <Button
          kind="main"
          type="submit"
          icon="message"
          busy={busy}
          disabled={!draft.text.trim() && draft.photos.length === 0}
        >
          {say('Send')}
        </Button>
      </div>
    </form>
  );
}

/** A message has words: reminders, files and readers that show no pictures say these. */
function pictureText(n: number): string {
  return n === 0 ? '' : n === 1 ? say('A picture') : say('{n} pictures', { n });
}
