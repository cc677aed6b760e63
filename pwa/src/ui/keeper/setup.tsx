import type { JSX } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import type {
  CaseJson,
  ChecklistItemJson,
  SetupAnswerJson,
  SetupMarkJson,
  SetupPointJson,
  TapsJson,
} from '../../core/contract';
import { caseAddress } from '../../core/ids';
import { say } from '../../core/say';
import { settings } from '../../core/settings';
import { ago } from '../../core/time';
import { formatNumber, massForInput, parseLength, parseMass } from '../../core/units';
import type { Hints } from '../../photo/photo';
import { current } from '../../store/copies';
import { dropDraft, isFull, readDraft, writeDraft } from '../../store/db';
import type { NewPhoto } from '../../store/outbox';
import { lazy } from '../lazy';
import { go, Link, Screen, useUnsaved } from '../nav';
import { ThermalBand } from '../parts/band';
import { Button, Failed, Field, Notice } from '../parts/controls';
import { Icon } from '../parts/icons';
import { AddPictures, mostPhotos, Pictures, twice } from '../parts/pictures';
import { Stage } from '../parts/stage';
import { useCards } from './cards';
import { known, linesOf, save } from './state';

const Measuring = lazy(() => import('../parts/measuring'));

interface Answered {
  answer: SetupAnswerJson;
  at: string;
  unsent: boolean;
}

/** The latest answer to each point, unsent ones included. */
function answersOf(c: CaseJson): Map<string, Answered> {
  const found = new Map<string, Answered>();
  for (const l of current(linesOf(c))) {
    for (const answer of l.entry.setup?.answers ?? []) {
      const point = answer.point ?? '';
      if (!found.has(point)) found.set(point, { answer, at: l.entry.happenTime ?? '', unsent: Boolean(l.item) });
    }
  }
  return found;
}

interface Marked {
  mark: SetupMarkJson;
  text: string;
}

/** What the breeder says of each point and waits for: it stands until fine is said, or the point is measured or answered anew with a picture. */
export function marksOf(c: CaseJson): Map<string, Marked> {
  const marks = new Map<string, Marked>();
  const before = new Map<string, SetupAnswerJson>(); // an answer that is given anew brings its old size and pictures along
  for (const { entry } of current(linesOf(c)).reverse()) {
    const mark = entry.message?.mark;
    if (mark) {
      if (mark.kind === 'MARK_KIND_FINE') marks.delete(mark.point ?? '');
      else marks.set(mark.point ?? '', { mark, text: entry.message?.text ?? '' });
    }
    for (const a of entry.setup?.answers ?? []) {
      const was = before.get(a.point ?? '');
      const keeper = (entry.by ?? 'ACTOR_KIND_KEEPER') === 'ACTOR_KIND_KEEPER';
      const shown = keeper && a.photos?.some((id) => !was?.photos?.includes(id));
      const measured = Number(a.measureMm ?? 0) > 0 && Number(a.measureMm) !== Number(was?.measureMm);
      if (shown || measured) marks.delete(a.point ?? '');
      before.set(a.point ?? '', a);
    }
  }
  return marks;
}

function verdict(p: SetupPointJson, choice: string | undefined): string {
  return p.choices?.find((x) => x.code === choice)?.verdict ?? '';
}

export default function Setup({ c, rest }: { c: CaseJson; rest: string[] }): JSX.Element {
  const points = known.value?.points ?? [];
  const items = known.value?.records.get(c.name ?? '')?.record?.checklist ?? [];
  const answers = answersOf(c);
  const marks = marksOf(c);
  const point = points.find((p) => p.code === rest[0]);
  if (point) {
    const at = points.indexOf(point);
    const next = points[at + 1];
    return (
      <Point
        key={point.code}
        c={c}
        p={point}
        number={say('{at} of {n}', { at: at + 1, n: points.length })}
        item={items.find((i) => i.point === point.code)}
        was={answers.get(point.code ?? '')}
        marked={marks.get(point.code ?? '')}
        next={next && caseAddress(c.name ?? '', `setup/${next.code}`)}
      />
    );
  }
  const done = points.filter((p) => answers.has(p.code ?? '')).length;
  const first = points.find((p) => !answers.has(p.code ?? ''));
  const hazards = points.filter((p) => verdict(p, answers.get(p.code ?? '')?.answer.choice) === 'hazard');
  return (
    <Screen title={say('Setup checklist')} back={caseAddress(c.name ?? '')}>
      {points.length === 0 ? (
        <p>
          {say(
            'The checklist has not reached this phone yet. It comes by itself when there is network, and stays from then on.',
          )}
        </p>
      ) : (
        <>
          <p>{say('A walk from the outside in, made for this animal. Stop when you like; each answer is kept.')}</p>
          <div>
            <ThermalBand at={done / points.length} label={say('Points answered')} />
            <p class="muted">
              {hazards.length > 0
                ? say('{done} of {all} answered, {n} to put right', { done, all: points.length, n: hazards.length })
                : say('{done} of {all} answered', { done, all: points.length })}
            </p>
          </div>
          <ul class="list">
            {points.map((p) => {
              const a = answers.get(p.code ?? '');
              return (
                <li key={p.code}>
                  <Link to={caseAddress(c.name ?? '', `setup/${p.code}`)}>
                    <span class="grow">{p.title}</span>
                    {a ? <Verdict v={verdict(p, a.answer.choice)} /> : <span class="muted">{say('not answered')}</span>}
                    {a?.unsent && <span class="chip">{say('not sent yet')}</span>}
                    {marks.has(p.code ?? '') && <span class="chip">{say('your breeder asks')}</span>}
                  </Link>
                </li>
              );
            })}
          </ul>
          {first && !c.endTime && (
            <div class="actions foot sticky">
              <Link to={caseAddress(c.name ?? '', `setup/${first.code}`)} class="button main wide">
                {done === 0 ? say('Begin') : say('Go on')}
              </Link>
            </div>
          )}
        </>
      )}
    </Screen>
  );
}

function Verdict({ v }: { v: string }): JSX.Element {
  if (v === 'fine') {
    return (
      <span class="verdict">
        <Icon name="check" /> {say('fine')}
      </span>
    );
  }
  if (v === 'hazard') {
    return (
      <span class="verdict put-right">
        <Icon name="warn" /> {say('put right')}
      </span>
    );
  }
  return <span class="verdict">{v === 'not_here' ? say('not here') : say('not sure')}</span>;
}

interface Draft {
  choice: string;
  measure: string;
  /** What was typed for the point's further sizes, by their code; a draft of an older version has none. */
  sizes?: Record<string, string>;
  note: string;
  photos: { photo: NewPhoto; hints: Hints }[];
  /** Where the size was measured in a picture; typing another takes it away. */
  taps?: TapsJson | undefined;
}

const measureWords: Record<string, { label: string; hint: string }> = {
  opening: { label: say('Narrowest way across'), hint: say('in mm; “2 cm” works too') },
  gap: { label: say('Widest slit'), hint: say('in mm; “0.5 cm” works too') },
  depth: { label: say('Depth of the water'), hint: say('in mm; “3 cm” works too') },
  height: { label: say('Floor to the highest place'), hint: say('in mm; “45 cm” works too') },
};

const sizeFor = (unit: string | undefined, v: unknown) => (unit === 'g' ? massForInput(Number(v)) : String(Number(v)));
const parseSize = (unit: string | undefined, text: string) => (unit === 'g' ? parseMass(text) : parseLength(text));

interface PointProps {
  c: CaseJson;
  p: SetupPointJson;
  number: string;
  item: ChecklistItemJson | undefined;
  was: Answered | undefined;
  marked: Marked | undefined;
  next: string | undefined;
}

function Point({ c, p, number, item, was, marked, next }: PointProps): JSX.Element {
  const key = `setup ${c.name} ${p.code}`;
  const kept = was?.answer.photos ?? [];
  const empty: Draft = {
    choice: was?.answer.choice ?? '',
    measure: Number(was?.answer.measureMm) > 0 ? String(was?.answer.measureMm) : '',
    sizes: Object.fromEntries(
      (p.sizes ?? [])
        .filter((z) => Number(was?.answer.sizes?.[z.code ?? '']) > 0)
        .map((z) => [z.code ?? '', sizeFor(z.unit, was?.answer.sizes?.[z.code ?? ''])]),
    ),
    note: was?.answer.note ?? '',
    photos: [],
    taps: was?.answer.taps,
  };
  const [draft, setDraft] = useState<Draft>(empty);
  const [ready, setReady] = useState(false);
  const [error, setError] = useState('');
  const [busy, setBusy] = useState(false);
  const [measuring, setMeasuring] = useState<{ id: string; src: string } | undefined>();
  const writing = useRef(Promise.resolve());
  const latest = useRef(draft);

  useEffect(() => {
    void readDraft<Draft>(key)
      .catch(() => undefined)
      .then((d) => {
        if (d) {
          latest.current = d;
          setDraft(d);
        }
        setReady(true);
      });
  }, [key]);
  useUnsaved(busy); // otherwise the draft is on disk

  /** Every change is on disk before anything else can happen, such as a camera that ends the page. */
  const change = (part: Partial<Draft>) => {
    const next: Draft = { ...latest.current, ...part };
    latest.current = next;
    setDraft(next);
    setError('');
    writing.current = writing.current
      .then(() => writeDraft(key, next))
      .catch((e: unknown) => {
        setError(
          isFull(e)
            ? say('The phone is full: this is not kept yet. Make room, then try again.')
            : say('The phone did not keep this. Please try again.'),
        );
      });
  };

  const measurable = p.measure === 'opening' || p.measure === 'gap';
  const cards = useCards(measurable ? draft.photos.map((x) => x.photo) : [], c.name ?? '');
  const measure = draft.measure.trim() ? parseLength(draft.measure) : 0;
  const sizes = (p.sizes ?? []).map((z) => {
    const text = draft.sizes?.[z.code ?? ''] ?? '';
    return { ...z, code: z.code ?? '', text, value: text.trim() ? parseSize(z.unit, text) : 0 };
  });
  const chosen = p.choices?.find((x) => x.code === draft.choice);
  const limit = item && measure ? overLimit(item, p.measure ?? '', measure) : '';

  const submit = async () => {
    if (!chosen) return setError(say('Please choose the answer that comes nearest. “I am not sure” is one too.'));
    if (measure === null || measure > 10_000)
      return setError(say('The size is not a number. Correct it or leave it empty.'));
    const wrong = sizes.find((z) => z.value === null || z.value > 1_000_000);
    if (wrong)
      return setError(say('{label}: this is not a number. Correct it or leave it empty.', { label: wrong.label }));
    const taken = sizes.flatMap((z): [string, number][] => (z.value ? [[z.code, z.value]] : []));
    setBusy(true);
    try {
      await writing.current;
      const photos = [...kept, ...draft.photos.map((x) => x.photo.id)].slice(-mostPhotos);
      const answer: SetupAnswerJson = {
        point: p.code ?? '',
        choice: draft.choice,
        ...(measure > 0 && { measureMm: measure }),
        ...(measure > 0 && draft.taps && photos.includes(draft.taps.photo ?? '') && { taps: draft.taps }),
        ...(taken.length > 0 && { sizes: Object.fromEntries(taken) }),
        ...(photos.length > 0 && { photos }),
        ...(draft.note.trim() && { note: draft.note.trim() }),
      };
      await save({
        case: c,
        entry: { happenTime: new Date().toISOString(), setup: { answers: [answer] } },
        photos: draft.photos.map((x) => x.photo),
        draft: key,
      });
      go(next ?? caseAddress(c.name ?? '', 'setup'));
    } catch (e) {
      setError(e instanceof Error ? e.message : String(e));
      setBusy(false);
    }
  };

  if (measuring) {
    const done = () => {
      if (measuring.src.startsWith('blob:')) URL.revokeObjectURL(measuring.src);
      setMeasuring(undefined);
    };
    return (
      <Screen title={say('Measure: {title}', { title: p.title })} back={caseAddress(c.name ?? '', 'setup')}>
        <Measuring
          photo={measuring.id}
          src={measuring.src}
          words={p.title ?? ''}
          onDone={(w) => {
            change({ measure: formatNumber(w.widthMm, 1), taps: w.taps });
            done();
          }}
          onClose={done}
        />
      </Screen>
    );
  }
  return (
    <Screen
      title={p.title ?? ''}
      back={caseAddress(c.name ?? '', 'setup')}
      above={<p class="muted">{say('Setup, {number}', { number })}</p>}
    >
      <div class="stack" aria-busy={!ready}>
        <p>{p.why}</p>
        <p>
          <strong>{say('How to look:')}</strong> {p.look}
        </p>
        {item?.forThisAnimal && (
          <Notice title={say('For this animal')}>
            <p>{item.forThisAnimal}</p>
          </Notice>
        )}
      </div>
      {marked && (
        <Notice
          kind="warn"
          title={`${c.breederName || say('Your breeder')} ${marked.mark.kind === 'MARK_KIND_HAZARD' ? say('saw something here') : say('asks for another picture')}`}
        >
          <p>{marked.text}</p>
          <p>{say('Put it right if it can be, take a picture of the same place, and save.')}</p>
        </Notice>
      )}
      {marked?.mark.photo && (
        <Stage
          src={`/v1/${c.name}/photos/${marked.mark.photo}/1600`}
          alt={say('The picture it is about')}
          markers={
            marked.mark.at
              ? [{ x: Number(marked.mark.at.x), y: Number(marked.mark.at.y), words: say('The place it is about') }]
              : []
          }
        />
      )}
      {was && (
        <p class="muted">
          {was.unsent
            ? say('Answered {ago}, not sent yet. A new answer takes its place.', { ago: ago(was.at) })
            : say('Answered {ago}. A new answer takes its place.', { ago: ago(was.at) })}
        </p>
      )}
      <fieldset class="field">
        <legend>{say('What is it like in yours?')}</legend>
        <div class="choices down">
          {p.choices?.map((x) => (
            <label key={x.code}>
              <input
                type="radio"
                name="choice"
                checked={draft.choice === x.code}
                onChange={() => change({ choice: x.code ?? '' })}
              />
              {x.label}
            </label>
          ))}
        </div>
      </fieldset>
      {(chosen?.verdict === 'hazard' || limit) && (
        <Notice kind="warn" live title={say('To put right')}>
          {limit && <p>{limit}</p>}
          <p>{p.fix}</p>
        </Notice>
      )}
      {p.measure && measureWords[p.measure] && (
        <Field
          label={say('{label} (if you can)', { label: measureWords[p.measure]?.label })}
          hint={measureWords[p.measure]?.hint}
          value={draft.measure}
          onInput={(v) => change({ measure: v, taps: undefined })}
          inputMode="decimal"
          unit="mm"
          error={measure === null ? say('This is not a number yet.') : undefined}
        />
      )}
      {sizes.map((z) => (
        <Field
          key={z.code}
          label={say('{label} (if you can)', { label: z.label })}
          hint={z.hint}
          value={z.text}
          onInput={(v) => change({ sizes: { ...latest.current.sizes, [z.code]: v } })}
          inputMode="decimal"
          unit={z.unit === 'g' ? settings.value.mass : z.unit}
          error={z.value === null ? say('This is not a number yet.') : undefined}
        />
      ))}
      {p.photo && (
        <section class="stack" aria-labelledby="pictures">
          <h2 id="pictures">{say('A picture helps your breeder to see it')}</h2>
          {(p.shots?.length ?? 0) > 0 && (
            <ol class="bullets">
              {p.shots?.map((shot) => (
                <li key={shot}>{shot}</li>
              ))}
            </ol>
          )}
          {kept.length + draft.photos.length > 0 && (
            <Pictures
              pictures={[
                ...kept.map((id, i) => ({
                  name: `${c.name}/photos/${id}`,
                  words: say('Picture {i} of the earlier answer', { i: i + 1 }),
                })),
                ...draft.photos.map(({ photo }, i) => ({
                  name: `${c.name}/photos/${photo.id}`,
                  words: say('Picture {i}', { i: i + 1 }),
                  photo,
                })),
              ]}
              waiting
              under={(at) => {
                const x = draft.photos[at - kept.length];
                const id = x ? x.photo.id : kept[at];
                const measure = measurable && id && (
                  <Button
                    onClick={() => {
                      const src = x
                        ? URL.createObjectURL(new Blob([x.photo.bytes], { type: x.photo.type }))
                        : `/v1/${c.name}/photos/${id}/1600`;
                      setMeasuring({ id, src });
                    }}
                  >
                    {say('Measure in picture {at}', { at: at + 1 })}
                  </Button>
                );
                return (
                  (measure || x) && (
                    <>
                      {measure}
                      {x?.hints.dark && <p>{say('It is rather dark. More light, or another try, may help.')}</p>}
                      {x?.hints.blurred && <p>{say('It looks blurred. Hold still and try once more, if you like.')}</p>}
                      {x && p.measure && cards.get(x.photo.id) && <p>{cards.get(x.photo.id)}</p>}
                      {x && (
                        <Button kind="quiet" onClick={() => change({ photos: draft.photos.filter((y) => y !== x) })}>
                          {say('Remove picture {at}', { at: at - kept.length + 1 })}
                        </Button>
                      )}
                    </>
                  )
                );
              }}
            />
          )}
          {kept.length + draft.photos.length < mostPhotos && (
            <AddPictures
              of={c.name ?? ''}
              room={mostPhotos - kept.length - draft.photos.length}
              busy={busy}
              settled={() => writing.current}
              onBusy={setBusy}
              onMade={(made) => {
                if (!made.ok) return setError(made.problem);
                const { photo, hints } = made;
                if (kept.includes(photo.id) || latest.current.photos.some((x) => x.photo.id === photo.id))
                  return setError(twice);
                change({ photos: [...latest.current.photos, { photo, hints }] });
              }}
            />
          )}
        </section>
      )}
      <Field
        label={say('Note (if you like)')}
        value={draft.note}
        onInput={(v) => change({ note: v })}
        lines={2}
        maxLength={500}
      />
      <Failed text={error} />
      {!c.endTime && (
        <div class="actions foot">
          <Button kind="main" icon="check" busy={busy} onClick={() => void submit()}>
            {next ? say('Save and go on') : say('Save')}
          </Button>
          <Button
            kind="quiet"
            onClick={() => {
              void writing.current.then(() => dropDraft(key));
              go(next ?? caseAddress(c.name ?? '', 'setup'));
            }}
          >
            {say('Skip')}
          </Button>
        </div>
      )}
    </Screen>
  );
}

/** What a size means for this body, in words; '' when it is within the limits. */
export function overLimit(i: ChecklistItemJson, kind: string, mm: number): string {
  const n = (v: unknown) => Math.max(0, Number(v) || 0);
  const size = `${formatNumber(mm, 1)} mm`;
  if (kind === 'depth' && n(i.maxDepthMm) && mm > n(i.maxDepthMm))
    return say('{size} is deeper than the {n} mm that are safe for this animal.', {
      size,
      n: formatNumber(n(i.maxDepthMm)),
    });
  if (kind === 'height' && n(i.maxHeightMm) && mm > n(i.maxHeightMm))
    return say('{size} is higher than the {n} mm that are safe for this animal.', {
      size,
      n: formatNumber(n(i.maxHeightMm)),
    });
  if (kind === 'gap' && n(i.shutBelowMm) && mm >= n(i.shutBelowMm))
    return say('It may get its head through {size}. Keep every slit under {n} mm.', {
      size,
      n: formatNumber(n(i.shutBelowMm)),
    });
  if (kind === 'opening' && n(i.passAboveMm) && mm >= n(i.shutBelowMm) && mm < n(i.passAboveMm)) {
    return n(i.shutBelowMm)
      ? say('It could get stuck in {size}. Safe is under {low} mm or over {high} mm.', {
          size,
          low: formatNumber(n(i.shutBelowMm)),
          high: formatNumber(n(i.passAboveMm)),
        })
      : say('{size} is tight, or will be soon. Safe is over {n} mm.', { size, n: formatNumber(n(i.passAboveMm)) });
  }
  return '';
}
