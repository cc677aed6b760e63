import type { ComponentChildren, JSX } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import { idOf } from '../../core/ids';
import { say } from '../../core/say';
import { changeSettings, settings } from '../../core/settings';
import { accept, type Prepared, prepare } from '../../photo/photo';
import { cameraKey, writeState } from '../../store/db';
import { type NewPhoto, photoOf } from '../../store/outbox';
import { Button } from './controls';

/** How many pictures one answer or one message may name. */
export const mostPhotos = 8;

export const twice = say('That picture is here already, so it counts once.');

export interface Picture {
  /** `breeders/{b}/cases/{c}/photos/{p}` */
  name: string;
  /** What there is to see, for who does not see it. */
  words: string;
  width?: number | undefined;
  height?: number | undefined;
  /** The picture itself, while it is a part of a draft. */
  photo?: NewPhoto | undefined;
}

/** Small pictures that open large. */
export function Pictures({
  pictures,
  waiting = false,
  previous = say('Before'),
  next = say('Next'),
  under,
}: {
  pictures: readonly Picture[];
  /** Some may still wait on this phone to be sent. */
  waiting?: boolean;
  previous?: string;
  next?: string;
  under?: (at: number) => ComponentChildren;
}): JSX.Element {
  const [at, setAt] = useState(-1);
  const dialog = useRef<HTMLDialogElement>(null);
  const open = pictures[at];
  useEffect(() => {
    if (open && !dialog.current?.open) dialog.current?.showModal();
  }, [open]);
  const step = (by: number) => setAt((n) => (n + by + pictures.length) % pictures.length);
  return (
    <>
      <ul class="photos">
        {pictures.map((p, i) => (
          <li key={p.name}>
            <button type="button" class="open" onClick={() => setAt(i)}>
              <Image p={p} size={320} waiting={waiting} />
            </button>
            {under?.(i)}
          </li>
        ))}
      </ul>
      <dialog
        ref={dialog}
        class="viewer"
        aria-label={say('Photo')}
        onClose={() => setAt(-1)}
        onKeyDown={(e) => {
          if (e.key === 'ArrowLeft') step(-1);
          if (e.key === 'ArrowRight') step(1);
        }}
      >
        {open && (
          <div class="stack">
            <Image key={open.name} p={open} size={1600} waiting={waiting} />
            <p role="status">
              {pictures.length > 1
                ? say('{words}, {at} of {n}', { words: open.words, at: at + 1, n: pictures.length })
                : open.words}
            </p>
            <div class="actions">
              {pictures.length > 1 && (
                <>
                  <Button icon="back" onClick={() => step(-1)}>
                    {previous}
                  </Button>
                  <Button icon="next" onClick={() => step(1)}>
                    {next}
                  </Button>
                </>
              )}
              <Button kind="main" icon="close" onClick={() => dialog.current?.close()}>
                {say('Close')}
              </Button>
            </div>
          </div>
        )}
      </dialog>
    </>
  );
}

function Image({ p, size, waiting }: { p: Picture; size: 320 | 1600; waiting: boolean }): JSX.Element {
  const sent = `/v1/${p.name}/${size}`;
  const [src, setSrc] = useState(p.photo || waiting ? '' : sent);
  const [missing, setMissing] = useState(false);
  useEffect(() => {
    if (!p.photo && !waiting) return;
    let made = '';
    let gone = false;
    const show = (photo: NewPhoto | undefined) => {
      if (gone) return;
      if (photo) made = URL.createObjectURL(new Blob([photo.bytes], { type: photo.type }));
      setSrc(made || sent);
    };
    if (p.photo) show(p.photo);
    else photoOf(idOf(p.name)).then(show, () => show(undefined));
    return () => {
      gone = true;
      if (made) URL.revokeObjectURL(made);
    };
  }, [p.photo, p.name, waiting, sent]);
  if (missing)
    return <span class="missing">{say('{words}. It shows when there is network.', { words: p.words })}</span>;
  if (!src) return <span class="missing" />;
  return (
    <img src={src} width={p.width} height={p.height} alt={p.words} decoding="async" onError={() => setMissing(true)} />
  );
}

/** Two ways to a picture: the camera, or one that is there already. */
export function AddPictures({
  of,
  room,
  busy,
  settled,
  onBusy,
  onMade,
}: {
  /** The name of their case. */
  of: string;
  /** How many more may be added. */
  room: number;
  busy: boolean;
  /** Resolves when the draft is on disk: only then may the camera open, which can end the page. */
  settled: () => Promise<unknown>;
  onBusy: (busy: boolean) => void;
  onMade: (made: Prepared) => void;
}): JSX.Element {
  const take = useRef<HTMLInputElement>(null);
  const choose = useRef<HTMLInputElement>(null);
  const open = async (input: HTMLInputElement | null) => {
    await settled();
    await writeState(cameraKey, { path: location.pathname, at: Date.now() }).catch(() => undefined);
    input?.click();
  };
  const picked = async (input: HTMLInputElement) => {
    const files = [...(input.files ?? [])];
    input.value = ''; // the same picture may be chosen again
    await writeState(cameraKey, undefined).catch(() => undefined);
    onBusy(true);
    for (const file of files.slice(0, room)) onMade(await prepare(file, of));
    if (files.length > room)
      onMade({
        ok: false,
        problem: say('Only {mostPhotos} pictures go together. The others were left out.', { mostPhotos }),
      });
    await settled();
    onBusy(false);
  };
  const input = {
    type: 'file',
    accept,
    hidden: true, // the buttons are what is seen, heard and reached
    onChange: (e: { currentTarget: HTMLInputElement }) => void picked(e.currentTarget),
  } as const;
  return (
    <>
      <div class="row">
        <Button icon="photo" disabled={busy || room < 1} onClick={() => void open(take.current)}>
          {say('Take a photo')}
        </Button>
        <Button disabled={busy || room < 1} onClick={() => void open(choose.current)}>
          {say('Choose a photo')}
        </Button>
      </div>
      <label class="check">
        <input
          type="checkbox"
          checked={settings.value.taken}
          onChange={(e) => changeSettings({ taken: e.currentTarget.checked })}
        />
        <span>
          {say('Send along when a picture was taken. {more}', {
            more: <span class="muted">{say('Where it was taken is never sent.')}</span>,
          })}
        </span>
      </label>
      <input {...input} ref={take} capture="environment" data-photo="take" />
      <input {...input} ref={choose} multiple data-photo="choose" />
    </>
  );
}
