import type { JSX } from 'preact';
import { useEffect, useLayoutEffect, useRef, useState } from 'preact/hooks';
import { withQuery } from '../../api/client';
import type {
  CreateEntryResponseJson,
  ListNewPhotosResponseJson,
  MarkKindJson,
  NewPhotoJson,
  ReadCardResponseJson,
  SetupPointJson,
} from '../../core/contract';
import { idOf, uuidv7 } from '../../core/ids';
import { facts, say } from '../../core/say';
import { ago } from '../../core/time';
import { formatNumber } from '../../core/units';
import { lazy } from '../lazy';
import { Button, Field, Notice } from '../parts/controls';
import type { Width } from '../parts/measuring';
import { type Spot, Stage } from '../parts/stage';
import { rest, useLoad } from './hooks';
import { Heading, Link, Trouble, Waiting } from './nav';
import { setupPoints } from './reference';
import { ask, breeder } from './session';
import { singleKeys } from './triage';

const Measuring = lazy(() => import('../parts/measuring'));

type Doing = 'look' | 'hazard' | 'again' | 'measure';

interface Everything {
  photos: NewPhotoJson[];
  points: SetupPointJson[];
  more: string;
}

const caseOf = (p: NewPhotoJson) => (p.photo?.name ?? '').split('/').slice(0, 4).join('/');

/** Keepers' new pictures of all cases, one on each screen: by keys or by the thumb. */
export default function ReviewPage(): JSX.Element {
  const loaded = useLoad<Everything>('review', async () => {
    const [list, points] = await Promise.all([page(''), setupPoints()]);
    return { photos: list.photos ?? [], points, more: list.nextPageToken ?? '' };
  });
  const d = loaded.data;
  return (
    <main class="page wide review">
      {!d && <Heading>{say('New photos')}</Heading>}
      {loaded.error !== undefined && <Trouble error={loaded.error} again={loaded.again} />}
      {!d && loaded.error === undefined && <Waiting />}
      {d && <Queue first={d} />}
    </main>
  );
}

function page(token: string): Promise<ListNewPhotosResponseJson> {
  return ask<ListNewPhotosResponseJson>(
    'GET',
    withQuery(`/v1/${breeder()}/newPhotos`, { pageSize: 20, pageToken: token }),
  );
}

function Queue({ first }: { first: Everything }): JSX.Element {
  const [photos, setPhotos] = useState(first.photos);
  const [more, setMore] = useState(first.more);
  const [at, setAt] = useState(0);
  const [failed, setFailed] = useState<{ what: string; error: unknown; again: () => void }[]>([]);
  const [saving, setSaving] = useState(0);
  const now = photos[at];
  const next = photos[at + 1];

  // The next picture is there when its turn comes, and so is the next page.
  useEffect(() => {
    if (next?.photo?.name) new Image().src = `/v1/${next.photo.name}/1600`;
    if (more && at >= photos.length - 5) {
      const token = more;
      setMore('');
      page(token).then(
        (l) => {
          setPhotos((was) => [...was, ...(l.photos ?? [])]);
          setMore(l.nextPageToken ?? '');
        },
        () => setMore(token),
      );
    }
  }, [at, next, more, photos.length]);

  /** On to the next at once; what could not be saved stands above it with another try. */
  const run = (what: string, work: () => Promise<unknown>) => {
    setAt((n) => n + 1);
    const attempt = () => {
      setFailed((was) => was.filter((f) => f.again !== attempt));
      setSaving((n) => n + 1);
      work()
        .catch((error: unknown) => setFailed((was) => [...was, { what, error, again: attempt }]))
        .finally(() => setSaving((n) => n - 1));
    };
    attempt();
  };

  return (
    <div class="stack">
      {failed.map((f) => (
        <Notice key={f.what} kind="bad" live title={say('{what}: not saved', { what: f.what })}>
          <p>{rest(f.error)}</p>
          <div class="actions">
            <Button onClick={f.again}>{say('Try again')}</Button>
          </div>
        </Notice>
      ))}
      {now ? (
        <One
          key={now.photo?.name}
          p={now}
          points={first.points}
          number={
            more
              ? say('{at} of {n} and more', { at: at + 1, n: photos.length })
              : say('{at} of {n}', { at: at + 1, n: photos.length })
          }
          onBack={at > 0 ? () => setAt(at - 1) : undefined}
          onSkip={() => setAt(at + 1)}
          run={run}
        />
      ) : saving > 0 ? ( // nobody is told to leave while something is still on its way
        <Waiting />
      ) : (
        <>
          <Heading>{say('New photos')}</Heading>
          <Notice
            kind="good"
            live
            title={photos.length === 0 ? say('There is no new photo') : say('That was the last one')}
          >
            <p>
              {at > 0 && at === photos.length
                ? `${say('Photos that you skipped come again when you open this page anew.')} `
                : ''}
              <Link to="/b">{say('To the triage list')}</Link>
            </p>
          </Notice>
        </>
      )}
    </div>
  );
}

function One({
  p,
  points,
  number,
  onBack,
  onSkip,
  run,
}: {
  p: NewPhotoJson;
  points: SetupPointJson[];
  number: string;
  onBack: (() => void) | undefined;
  onSkip: () => void;
  run: (what: string, work: () => Promise<unknown>) => void;
}): JSX.Element {
  const [doing, setDoing] = useState<Doing>('look');
  const [at, setAt] = useState<Spot | undefined>();
  const [text, setText] = useState('');
  const a = p.answer;
  const [code, setCode] = useState(a?.point ?? '');
  const [error, setError] = useState('');
  const all = useRef<HTMLElement>(null);
  const name = p.photo?.name ?? '';
  const src = `/v1/${name}/1600`;
  const point = points.find((x) => x.code === code);
  const choice = points.find((x) => x.code === a?.point)?.choices?.find((x) => x.code === a?.choice);
  const title = point?.title ?? say('With a message');
  const words = `${point?.title ?? say('Photo with a message')}, ${p.animalName}`;
  const earlier = p.mark?.photo && p.mark.photo !== idOf(name) ? p.mark : undefined;
  const beside = doing === 'look' ? earlier : undefined;
  const open = p.mark?.kind === 'MARK_KIND_HAZARD' || p.mark?.kind === 'MARK_KIND_AGAIN';

  // Who goes by keys marks with the next key.
  useEffect(() => {
    if (doing !== 'look') all.current?.querySelector<HTMLElement>('.frame')?.focus({ preventScroll: true });
  }, [doing]);

  const measurable = point?.measure === 'opening' || point?.measure === 'gap';
  // Whose card lies beside what is to be measured: a picture of another tank is easily sent.
  const [card, setCard] = useState<ReadCardResponseJson | undefined>();
  useEffect(() => {
    if (!measurable) return;
    const stop = new AbortController();
    ask<ReadCardResponseJson>('GET', `/v1/${name}:readCard`, undefined, { signal: stop.signal }).then(
      setCard,
      () => undefined,
    );
    return () => stop.abort();
  }, []);
  const whose = !card?.found
    ? ''
    : card.case === caseOf(p)
      ? say('The card in it is {animalName}’s.', { animalName: p.animalName })
      : card.case
        ? say('The card in it is {animalName}’s. Is it the right tank?', { animalName: card.animalName })
        : say('The code in it is no card of yours.');

  const look = () => ask('POST', `/v1/${name}:lookAt`, {});
  /** The ids are made once: trying again doubles nothing. */
  const entry = (body: object) => {
    const id = uuidv7();
    const happenTime = new Date().toISOString();
    return () =>
      ask<CreateEntryResponseJson>('POST', withQuery(`/v1/${p.animal}/entries`, { entryId: id }), {
        case: caseOf(p),
        happenTime,
        ...body,
      });
  };
  const tell = (kind: MarkKindJson, words: string) => {
    const send = entry({
      message: { text: words, mark: { kind, point: code, photo: idOf(name), ...(at && { at }) } },
    });
    run(words, async () => {
      await send();
      await look();
    });
  };
  const fine = () => {
    const worry = choice?.verdict === 'hazard' && !(Number(a?.measureMm) > 0);
    if (code && (open || worry)) tell('MARK_KIND_FINE', say('{point}: fine now.', { point: point?.title }));
    else run(say('Looked at'), look);
  };
  const submit = (kind: MarkKindJson) => {
    if (!code) return setError(say('Please choose what it is about.'));
    if (!text.trim()) return setError(say('Please write one sentence for the keeper.'));
    tell(kind, text.trim());
  };
  const measured = (w: Width) => {
    const send = entry({
      setup: {
        answers: [
          {
            point: code,
            choice: a?.choice || 'not_sure',
            photos: a?.photos?.length ? a.photos : [idOf(name)],
            ...(a?.sizes && { sizes: a.sizes }),
            taps: w.taps,
          },
        ],
      },
    });
    run(say('The width'), async () => {
      await send();
      await look();
    });
  };
  const begin = (what: Doing) => {
    setError('');
    setDoing(what);
    setText(what === 'again' ? say('Please take another picture of this place, straight on and near.') : '');
  };

  const act = useRef({ fine, onSkip, onBack, begin, doing, measurable });
  act.current = { fine, onSkip, onBack, begin, doing, measurable };
  // Before it is drawn: a key pressed at the first sight of a photo counts.
  useLayoutEffect(() => {
    const key = (e: KeyboardEvent) => {
      const now = act.current;
      if (e.key === 'Escape' && now.doing !== 'look') return setDoing('look');
      const typing = e.target instanceof HTMLElement && /^(INPUT|TEXTAREA|SELECT)$/.test(e.target.tagName);
      if (typing || e.ctrlKey || e.metaKey || e.altKey || now.doing !== 'look' || !singleKeys()) return;
      const inFrame = e.target instanceof HTMLElement && e.target.classList.contains('frame');
      if (e.key === 'f') now.fine();
      else if (e.key === 'h') now.begin('hazard');
      else if (e.key === 'a') now.begin('again');
      else if (e.key === 'm' && now.measurable) now.begin('measure');
      else if (e.key === 'j' || (e.key === 'ArrowRight' && !inFrame)) now.onSkip();
      else if ((e.key === 'k' || (e.key === 'ArrowLeft' && !inFrame)) && now.onBack) now.onBack();
      else return;
      e.preventDefault();
    };
    addEventListener('keydown', key);
    return () => removeEventListener('keydown', key);
  }, []);

  return (
    <article ref={all} class="stack" aria-label={title}>
      <Heading>{title}</Heading>
      <p class="muted">
        {say('New photo {number}', { number })} · <Link to={`/b/cases/${idOf(caseOf(p))}`}>{p.animalName}</Link> ·{' '}
        {facts(
          p.keeperName,
          ago(p.photo?.takeTime ?? p.photo?.receiveTime),
          p.photo?.dark && say('rather dark'),
          p.photo?.blurred && say('not sharp'),
        )}
      </p>
      {choice && (
        <p>
          <strong>{choice.label}</strong>
          {Number(a?.measureMm) > 0 &&
            `, ${formatNumber(Number(a?.measureMm), 1)}${Number(a?.measureSdMm) > 0 ? ` ± ${formatNumber(2 * Number(a?.measureSdMm), 1)}` : ''} mm`}
          {p.note && `. ${p.note}`}
        </p>
      )}
      {!choice && p.note && <p>{p.note}</p>}
      {whose && (card?.case === caseOf(p) ? <p class="muted">{whose}</p> : <Notice kind="warn" live title={whose} />)}
      {beside && <p>{say('You wrote: {text}', { text: p.markText })}</p>}
      {(doing === 'hazard' || doing === 'again') && (
        <p class="muted" role="status">
          {at
            ? say('The place is marked. Tap elsewhere to move it.')
            : say('Tap the place in the picture, if it is one place.')}
        </p>
      )}
      {doing === 'measure' ? (
        <Measuring photo={idOf(name)} src={src} words={words} onDone={measured} onClose={() => setDoing('look')} />
      ) : (
        <div class="beside">
          {beside && (
            <figure class="stack">
              <figcaption>
                <strong>{say('Before')}</strong>
              </figcaption>
              <Stage
                src={`/v1/${caseOf(p)}/photos/${beside.photo}/1600`}
                alt={say('Before')}
                markers={
                  beside.at
                    ? [{ x: Number(beside.at.x), y: Number(beside.at.y), words: say('The place you marked') }]
                    : []
                }
              />
            </figure>
          )}
          <figure class="stack">
            {beside && (
              <figcaption>
                <strong>{say('Now')}</strong>
              </figcaption>
            )}
            <Stage
              src={src}
              alt={words}
              onTap={doing === 'look' ? undefined : setAt}
              markers={at && doing !== 'look' ? [{ ...at, words: say('The place you mark') }] : []}
            />
          </figure>
        </div>
      )}
      {(doing === 'hazard' || doing === 'again') && (
        <form
          class="stack"
          onSubmit={(e) => {
            e.preventDefault();
            submit(doing === 'hazard' ? 'MARK_KIND_HAZARD' : 'MARK_KIND_AGAIN');
          }}
        >
          {!a?.point && (
            <Field
              label={say('What it is about')}
              value={code}
              onInput={setCode}
              options={[
                { value: '', label: say('Choose') },
                ...points.map((x) => ({ value: x.code ?? '', label: x.title ?? '' })),
              ]}
            />
          )}
          <Field
            label={doing === 'hazard' ? say('What is wrong there, in one sentence') : say('What you would like to see')}
            lines={2}
            maxLength={500}
            value={text}
            onInput={setText}
            error={error || undefined}
          />
          <div class="actions">
            <Button kind="main" type="submit">
              {doing === 'hazard' ? say('Tell the keeper') : say('Ask for it')}
            </Button>
            <Button onClick={() => setDoing('look')}>{say('Cancel')}</Button>
          </div>
        </form>
      )}
      {doing === 'look' && (
        <div class="work">
          <Button kind="main" icon="check" onClick={fine} aria-keyshortcuts="f">
            {open ? say('Fine now') : say('Fine')}
          </Button>
          <Button icon="warn" onClick={() => begin('hazard')} aria-keyshortcuts="h">
            {say('Hazard')}
          </Button>
          <Button icon="photo" onClick={() => begin('again')} aria-keyshortcuts="a">
            {say('Another picture')}
          </Button>
          {measurable && (
            <Button onClick={() => begin('measure')} aria-keyshortcuts="m">
              {say('Measure')}
            </Button>
          )}
          <Button kind="quiet" onClick={onSkip} aria-keyshortcuts="j">
            {say('Skip')}
          </Button>
          {onBack && (
            <Button kind="quiet" onClick={onBack} aria-keyshortcuts="k">
              {say('Back')}
            </Button>
          )}
        </div>
      )}
    </article>
  );
}
