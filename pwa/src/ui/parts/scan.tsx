import type { ComponentChildren, JSX } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import { say } from '../../core/say';
import { readCode } from '../../photo/finder';
import { Button, Notice } from './controls';

/** Frames are read at this length at most: a card that fills a third of the view has some 7 pixels a module. */
const longest = 800;
/** A card that was read and stays in view is the same card; after this long out of it, it is shown anew. */
const forget = 2_000;

type State =
  | { kind: 'opening' }
  | { kind: 'looking' }
  | { kind: 'trouble'; title: string; text: string; again: boolean };

/** What a person can do about a camera that does not open. */
function troubleOf(e: unknown): State {
  const name = e instanceof DOMException ? e.name : '';
  if (name === 'NotAllowedError') {
    return {
      kind: 'trouble',
      title: say('The camera is not allowed here'),
      text: say('Allow it in the browser’s settings for this page and try again, or type the code.'),
      again: true,
    };
  }
  if (name === 'NotReadableError') {
    return {
      kind: 'trouble',
      title: say('The camera is busy'),
      text: say('Another app may be using it. Close that app and try again, or type the code.'),
      again: true,
    };
  }
  return { kind: 'trouble', title: say('There is no camera here'), text: say('Type the code instead.'), again: false };
}

const noReader: State = {
  kind: 'trouble',
  title: say('What reads codes is not on this phone yet'),
  text: say('It is fetched once, with network, and works without from then on. Until then, type the code.'),
  again: true,
};

/**
 * The camera's view, until a code is read. Each text is reported once for as long as its
 * card stays in view. The camera is on only while this is shown and the page is seen.
 */
export function Scan({
  onText,
  onClose,
  closing = say('Close the camera'),
  what = say('the card'),
  children,
}: {
  onText: (text: string) => void;
  onClose: () => void;
  /** What the button to leave says, such as that one types instead. */
  closing?: string;
  /** Whose code is looked for. */
  what?: string;
  /** Below the view. */
  children?: ComponentChildren;
}): JSX.Element {
  const video = useRef<HTMLVideoElement>(null);
  const [state, setState] = useState<State>({ kind: 'opening' });
  const [round, setRound] = useState(0);
  const [track, setTrack] = useState<MediaStreamTrack>();
  const [lit, setLit] = useState(false);
  const told = useRef(onText);
  told.current = onText;

  useEffect(() => {
    let left = false;
    let stream: MediaStream | undefined;
    const close = () => {
      for (const t of stream?.getTracks() ?? []) t.stop();
      stream = undefined;
    };
    const open = async () => {
      setState({ kind: 'opening' });
      setTrack(undefined);
      setLit(false);
      let opened: MediaStream;
      try {
        opened = await navigator.mediaDevices.getUserMedia({
          video: { facingMode: { ideal: 'environment' }, width: { ideal: 1280 } },
          audio: false,
        });
      } catch (e) {
        if (!left) setState(troubleOf(e));
        return;
      }
      if (left || document.hidden) {
        for (const t of opened.getTracks()) t.stop();
        return;
      }
      stream = opened;
      const view = video.current;
      if (!view) return close();
      view.srcObject = stream;
      await view.play().catch(() => undefined); // it plays as soon as it may: frames are waited for
      setTrack(stream.getVideoTracks()[0]);
      setState({ kind: 'looking' });
      try {
        await look(
          view,
          () => !left && stream === opened,
          (text) => told.current(text),
        );
      } catch {
        close();
        if (!left) setState(noReader);
      }
    };
    const seen = () => {
      if (document.hidden) close();
      else if (!stream) void open();
    };
    document.addEventListener('visibilitychange', seen);
    if (!document.hidden) void open();
    return () => {
      left = true;
      document.removeEventListener('visibilitychange', seen);
      close();
    };
  }, [round]);

  // Not in the type of the DOM; only some cameras have a lamp.
  const lamp = Boolean((track?.getCapabilities?.() as { torch?: boolean } | undefined)?.torch);
  const light = async () => {
    const on = !lit;
    await track?.applyConstraints({ advanced: [{ torch: on } as MediaTrackConstraintSet] });
    setLit(on);
  };

  return (
    <div class="scan stack">
      {state.kind === 'trouble' ? (
        <Notice kind="warn" title={state.title} live>
          <p>{state.text}</p>
        </Notice>
      ) : (
        <>
          <div class="view">
            <video ref={video} muted playsInline aria-label={say('What the camera sees')} />
          </div>
          <p role="status">
            {state.kind === 'opening'
              ? say('The camera is opening.')
              : say('Hold the square code of {what} in the frame.', { what })}
          </p>
        </>
      )}
      {children}
      <div class="actions">
        {lamp && (
          <Button aria-pressed={lit} onClick={() => void light().catch(() => undefined)}>
            {lit ? say('Light off') : say('Light on')}
          </Button>
        )}
        {state.kind === 'trouble' && state.again && (
          <Button onClick={() => setRound((n) => n + 1)}>{say('Try the camera again')}</Button>
        )}
        <Button kind={state.kind === 'trouble' ? 'main' : 'plain'} onClick={onClose}>
          {closing}
        </Button>
      </div>
    </div>
  );
}

/** Reads frame after frame while on says so. It rejects where codes cannot be read at all. */
async function look(view: HTMLVideoElement, on: () => boolean, tell: (text: string) => void): Promise<void> {
  const canvas = document.createElement('canvas');
  const pen = canvas.getContext('2d', { willReadFrequently: true });
  if (!pen) throw new Error('no canvas');
  let text = '';
  let at = 0;
  while (on()) {
    await new Promise((resolve) => requestAnimationFrame(resolve));
    if (view.readyState < HTMLMediaElement.HAVE_CURRENT_DATA || view.videoWidth === 0) continue;
    const scale = Math.min(1, longest / Math.max(view.videoWidth, view.videoHeight));
    canvas.width = Math.round(view.videoWidth * scale);
    canvas.height = Math.round(view.videoHeight * scale);
    pen.drawImage(view, 0, 0, canvas.width, canvas.height);
    const read = await readCode(pen.getImageData(0, 0, canvas.width, canvas.height));
    if (!on()) return;
    const now = performance.now();
    if (read !== null) {
      if (read !== text || now - at > forget) tell(read);
      text = read;
      at = now;
    }
  }
}
