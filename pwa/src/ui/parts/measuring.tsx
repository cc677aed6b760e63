import type { JSX } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import { scannedClaimCode } from '../../core/code';
import type { TapsJson } from '../../core/contract';
import { say, sayOfEngine } from '../../core/say';
import { formatNumber } from '../../core/units';
import { type Answer, type Found, findCode, measureOpening } from '../../photo/finder';
import { Button, Notice } from './controls';
import { type Spot, Stage } from './stage';

export interface Width {
  taps: TapsJson;
  widthMm: number;
  plusMinusMm: number;
}

export interface MeasuringProps {
  /** Id of the picture, in its case. */
  photo: string;
  /** Where its large size is to be had. */
  src: string;
  words: string;
  onDone: (width: Width) => void;
  onClose: () => void;
}

/** Best is all round the rim, or along both edges of a slot. */
const enough = 6;
const most = 8;

/** An opening is tapped along its rim, and gets its width in millimetres with how far off that may be. */
export default function Measuring({ photo, src, words, onDone, onClose }: MeasuringProps): JSX.Element {
  const [image, setImage] = useState<ImageData | undefined>();
  const [found, setFound] = useState<Found | null | undefined>();
  const [card, setCard] = useState<Spot[]>([]);
  const [rim, setRim] = useState<Spot[]>([]);
  const [bank, setBank] = useState(false);
  const [slot, setSlot] = useState(false);
  const [answer, setAnswer] = useState<Answer | undefined>();
  const [trouble, setTrouble] = useState('');
  const [busy, setBusy] = useState(false);
  /** Of card and rim, the place that is being moved. */
  const [chosen, setChosen] = useState<number | undefined>();
  const turn = useRef(0);

  useEffect(() => {
    let gone = false;
    pixels(src)
      .then(async (data) => {
        if (gone) return;
        setImage(data);
        const code = await findCode(data);
        if (gone) return;
        setFound(code);
        setBank(code === null);
      })
      .catch(() => {
        if (!gone) setTrouble(say('What measures is not on this phone yet. It comes by itself when there is network.'));
      });
    return () => {
      gone = true;
    };
  }, [src]);

  const corners = bank && card.length < 4;
  const ready = !corners && rim.length >= enough;
  useEffect(() => {
    const mine = ++turn.current;
    setAnswer(undefined);
    setBusy(false);
    if (!ready || !image) return;
    setBusy(true);
    // A place that is moved by keys is measured when it has come to rest.
    const wait = setTimeout(() => {
      measureOpening(image, {
        reference: bank ? 'bank_card' : 'handover_card',
        shape: slot ? 'slot' : 'round',
        rim,
        ...(bank ? { card } : found && { code: found }),
      })
        .then(
          (a) => mine === turn.current && setAnswer(a),
          (e: unknown) => mine === turn.current && setTrouble(e instanceof Error ? e.message : String(e)),
        )
        .finally(() => mine === turn.current && setBusy(false));
    }, 250);
    return () => clearTimeout(wait);
  }, [ready, image, bank, slot, rim, card, found]);

  const held = chosen === undefined ? undefined : [...card, ...rim][chosen];
  const move = (spot: Spot | undefined) => {
    if (!spot || chosen === undefined) return setChosen(undefined);
    if (chosen < card.length) setCard(card.map((was, i) => (i === chosen ? spot : was)));
    else setRim(rim.map((was, i) => (i === chosen - card.length ? spot : was)));
  };
  const tap = (spot: Spot) => {
    if (held) {
      move(spot);
      setChosen(undefined);
    } else if (corners) setCard([...card, spot]);
    else if (rim.length < most) setRim([...rim, spot]);
  };
  const back = () => {
    setChosen(undefined);
    if (rim.length > 0) setRim(rim.slice(0, -1));
    else setCard(card.slice(0, -1));
  };
  const result = answer?.result;
  const nameOf = (i: number) =>
    i < card.length ? say('Corner {i}', { i: i + 1 }) : say('Place {i}', { i: i + 1 - card.length });
  const next =
    held && chosen !== undefined
      ? say('{place} is at {x} across, {y} down. Arrow keys move it; a tap puts it elsewhere.', {
          place: nameOf(chosen),
          x: Math.round(held.x),
          y: Math.round(held.y),
        })
      : corners
        ? say('Tap corner {n} of the bank card, one after the other round it.', { n: card.length + 1 })
        : rim.length < enough
          ? slot
            ? say('Tap the two edges of the gap, four places on each: {n} so far.', { n: rim.length })
            : say('Tap all round the rim of the opening, 6 to 8 places: {n} so far.', { n: rim.length })
          : busy
            ? say('Measuring')
            : rim.length < most
              ? say('One or two more places make it surer.')
              : '';
  return (
    <div class="stack">
      <Stage
        src={src}
        alt={words}
        onTap={tap}
        chosen={chosen}
        onMove={move}
        outline={bank ? (card.length === 4 ? card : []) : (found?.corners ?? [])}
        markers={[
          ...card.map((s, i) => ({
            ...s,
            text: `${i + 1}`,
            words: say('Corner {i}', { i: i + 1 }),
            kind: 'corner' as const,
          })),
          ...rim.map((s, i) => ({
            ...s,
            text: `${i + 1}`,
            words: say('Place {i} on the rim', { i: i + 1 }),
            kind: 'tap' as const,
          })),
        ]}
      />
      <p role="status">
        {trouble ||
          (found === undefined && !bank && !held ? say('Looking for the card in the picture. {next}', { next }) : next)}
      </p>
      {found === null && <p>{say('The handover card was not found in this picture.')}</p>}
      {!bank && found?.text && !scannedClaimCode(found.text).ok && (
        <p>{say('The code in this picture is not that of a handover card. A width by it is wrong.')}</p>
      )}
      {answer?.refusal && (
        <Notice kind="warn" live title={say('No width yet')}>
          <p>{sayOfEngine(answer.refusal.text)}</p>
        </Notice>
      )}
      {result && (
        <Notice
          kind="good"
          live
          title={`${sizeWords(result.widthMm, result.plusMinusMm)} ${slot ? say('between the edges') : 'across'}`}
        >
          <p>{sayOfEngine(result.advice) || say('That is close enough to go by.')}</p>
        </Notice>
      )}
      <div class="actions">
        <Button
          kind="main"
          icon="check"
          disabled={!result}
          onClick={() =>
            result &&
            onDone({
              taps: { photo, slot, rim, ...(bank && { card }) },
              widthMm: result.widthMm,
              plusMinusMm: result.plusMinusMm,
            })
          }
        >
          {say('Use this width')}
        </Button>
        <Button kind="quiet" onClick={onClose}>
          {say('Leave it')}
        </Button>
      </div>
      <div class="row">
        <Button onClick={back} disabled={rim.length + card.length === 0}>
          {say('Take the last tap back')}
        </Button>
        <Button
          onClick={() => {
            setChosen(undefined);
            setRim([]);
            setCard([]);
          }}
          disabled={rim.length + card.length === 0}
        >
          {say('Begin again')}
        </Button>
      </div>
      {rim.length + card.length > 0 && (
        <fieldset class="field">
          <legend>{say('Move one place')}</legend>
          <div class="row">
            {[...card, ...rim].map((_, i) => (
              <button
                key={nameOf(i)}
                type="button"
                class="button"
                aria-pressed={chosen === i}
                onClick={() => setChosen(chosen === i ? undefined : i)}
              >
                <span class="ear">{nameOf(i)}</span>
                <span aria-hidden="true">{i < card.length ? `◻ ${i + 1}` : i + 1 - card.length}</span>
              </button>
            ))}
          </div>
        </fieldset>
      )}
      <fieldset class="field">
        <legend>{say('What it is')}</legend>
        <div class="choices">
          <label>
            <input type="radio" name="shape" checked={!slot} onChange={() => setSlot(false)} />
            {say('A round hole')}
          </label>
          <label>
            <input type="radio" name="shape" checked={slot} onChange={() => setSlot(true)} />
            {say('A slit or gap')}
          </label>
        </div>
      </fieldset>
      <fieldset class="field">
        <legend>{say('What lies beside it')}</legend>
        <div class="choices">
          <label>
            <input type="radio" name="reference" checked={!bank} onChange={() => setBank(false)} />
            {say('The handover card')}
          </label>
          <label>
            <input type="radio" name="reference" checked={bank} onChange={() => setBank(true)} />
            {say('A bank card, its back up')}
          </label>
        </div>
      </fieldset>
    </div>
  );
}

/** `22 ± 1 mm`, with as many figures as it is sure. */
export function sizeWords(mm: number, plusMinus: number): string {
  const figures = plusMinus < 1 ? 1 : 0;
  return say('{mm} ± {max} mm', {
    mm: formatNumber(mm, figures),
    max: formatNumber(Math.max(plusMinus, figures ? 0.1 : 1), figures),
  });
}

/** The picture's pixels. */
export async function pixels(src: string): Promise<ImageData> {
  const response = await fetch(src, { credentials: 'same-origin' });
  if (!response.ok) throw new Error(`${response.status}`);
  const bitmap = await createImageBitmap(await response.blob(), { imageOrientation: 'from-image' });
  const pen = new OffscreenCanvas(bitmap.width, bitmap.height).getContext('2d');
  if (!pen) throw new Error('no canvas');
  pen.drawImage(bitmap, 0, 0);
  const data = pen.getImageData(0, 0, bitmap.width, bitmap.height);
  bitmap.close();
  return data;
}
