import type { JSX } from 'preact';
import { Component } from 'preact';
import { useContext, useEffect, useLayoutEffect, useMemo, useRef, useState } from 'preact/hooks';
import { withQuery } from '../../api/client';
import type { CaseJson, ListNewPhotosResponseJson } from '../../api/gen/warmhand/v1/case_service_pb';
import { idOf } from '../../core/ids';
import { facts, say } from '../../core/say';
import { ago, day } from '../../core/time';
import { idle } from '../device';
import { Button, Field, Notice } from '../parts/controls';
import { Icon } from '../parts/icons';
import { Standing } from '../parts/standing';
import { AsideDialog, asking, lookers, takeBack, Undo, undoable } from './aside';
import { CasePage } from './case';
import { animalName, isAside, list, listError, loadCases, newsOf, shows, toDo, type View, type Which } from './cases';
import { Gatherings } from './gatherings';
import { useLoad } from './hooks';
import { Go, Heading, Link, Trouble, Waiting } from './nav';
import { ask, breeder, me } from './session';

const keysKey = 'warmhand.breeder.keys';

/** Whether j and k move in the triage list. Single keys can get in the way of speech input, so they can be turned off. */
export function singleKeys(): boolean {
  try {
    return localStorage.getItem(keysKey) !== 'off';
  } catch {
    return true;
  }
}

export function setSingleKeys(on: boolean): void {
  try {
    localStorage.setItem(keysKey, on ? 'on' : 'off');
  } catch {
    // It holds for this visit's default only.
  }
}

type Shown = View | 'ended';

const views: { view: Shown; word: string; none: string }[] = [
  { view: 'open', word: say('Open'), none: '' },
  { view: 'new', word: say('New'), none: say('Nothing changed since you looked.') },
  { view: 'breeder', word: say('Your turn'), none: say('Nobody waits for you.') },
  { view: 'keeper', word: say('Keeper’s turn'), none: say('You wait for nobody.') },
  { view: 'silent', word: say('Nothing heard'), none: say('Every keeper was heard of lately.') },
  { view: 'aside', word: say('Set aside'), none: say('Nothing is set aside.') },
  { view: 'ended', word: say('Ended'), none: say('No follow-up has ended yet.') },
];

/** What is chosen holds while the app is open, also over a look into the stock book. */
let chosen: Shown = 'open';

/** There is room for list and case side by side. */
function isWide(): boolean {
  return matchMedia('(min-width: 64rem)').matches;
}

/** The way to keepers' new pictures, and, once the list stands, how many wait: one page of them is asked for, beyond it there are more. */
function NewPhotos(): JSX.Element {
  const first = 20;
  const loaded = useLoad(`new photos of ${breeder()}`, async (signal) => {
    await idle();
    signal.throwIfAborted();
    const address = withQuery(`/v1/${breeder()}/newPhotos`, { pageSize: first });
    return ask<ListNewPhotosResponseJson>('GET', address, undefined, { signal });
  });
  const n = loaded.data?.photos?.length ?? 0;
  const many = loaded.data && (loaded.data.nextPageToken ? say('more than {n}', { n }) : n || 'none');
  return (
    <div class="row">
      <Link to="/b/review" class="button quiet">
        <Icon name="photo" />
        <span>
          {many ? say('Go through keepers’ new photos: {many}', { many }) : say('Go through keepers’ new photos')}
        </span>
      </Link>
    </div>
  );
}

export function TriagePage({ id }: { id: string }): JSX.Element {
  const go = useContext(Go);
  const rows = useRef<HTMLOListElement>(null);
  const keys = useRef<HTMLDialogElement>(null);
  const [view, setView] = useState<Shown>(chosen);
  const [by, setBy] = useState('');
  const now = useMinute();
  const which: Which = view === 'ended' ? 'ended' : 'open';
  const choose = (v: Shown) => {
    chosen = v;
    setView(v);
  };

  // Back from a case the focus is on its row, as if one had never left.
  const came = useRef('');
  useEffect(() => {
    if (!id && came.current) {
      const all = [...(rows.current?.querySelectorAll<HTMLAnchorElement>('a.case') ?? [])];
      all.find((a) => idOf(a.dataset['name']) === came.current)?.focus();
    }
    came.current = id;
  }, [id]);

  // A row that moves to another place in the list loses the focus on its way; whoever goes by keys keeps it.
  const at = document.activeElement;
  const held = at instanceof HTMLElement && rows.current?.contains(at) ? at : undefined;
  useLayoutEffect(() => {
    if (held?.isConnected && document.activeElement !== held) held.focus({ preventScroll: true });
  });

  // Loads when the filter changes; live changes keep it right after that.
  useEffect(() => {
    if (list.value?.which !== which || listError.value) void loadCases(which);
  }, [which]);

  const loaded = list.value?.which === which ? list.value : undefined;
  const all = loaded?.cases;
  const count = useMemo(
    () =>
      new Map(
        views.map((v) => [
          v.view,
          v.view === 'ended' ? 0 : (all ?? []).filter((c) => shows(v.view as View, c, now)).length,
        ]),
      ),
    [all, now],
  );
  const people = useMemo(() => lookers(all ?? []), [all]);
  // The case that is open stays in the list, so that it does not slip away from under the reader.
  const stays = (c: CaseJson) => idOf(c.name) === id && (view === 'aside') === isAside(c, now);
  const shown = all?.filter(
    (c) =>
      stays(c) ||
      ((view === 'ended' || shows(view, c, now)) && (!by || !people.includes(by) || c.lookedAfterBy === by)),
  );
  const next = idOf(shown?.[shown.findIndex((c) => idOf(c.name) === id) + 1]?.name);

  // Before it is drawn, and so before a case's heading has the focus: no key falls between two cases.
  useLayoutEffect(() => {
    const links = () => [...(rows.current?.querySelectorAll<HTMLAnchorElement>('a.case') ?? [])];
    const move = (to: number) => {
      const row = links()[to];
      row?.focus();
      row?.scrollIntoView({ block: 'nearest' });
    };
    const step = (by: number) => {
      const every = links();
      const at = every.indexOf(document.activeElement as HTMLAnchorElement);
      const open = every.findIndex((a) => a.getAttribute('aria-current') === 'true');
      const from = at >= 0 ? at : open;
      move(Math.min(every.length - 1, Math.max(0, from < 0 ? 0 : from + by)));
    };
    const press = (selector: string) => {
      const el = document.querySelector<HTMLElement>(`.case-page ${selector}`);
      if (!el) return;
      if (el instanceof HTMLButtonElement) el.click();
      else el.focus();
    };
    /** The case that a key is about: the row that has the focus, else the one that is open. */
    const about = (): CaseJson | undefined => {
      const name = (document.activeElement as HTMLElement | null)?.dataset['name'] ?? `${breeder()}/cases/${id}`;
      return list.value?.cases.find((c) => c.name === name);
    };
    const single: Record<string, () => void> = {
      j: () => step(1),
      k: () => step(-1),
      n: () => next && go(`/b/cases/${next}`),
      r: () => press('.thread textarea'),
      a: () => press('.steps > li:first-child > button'),
      s: () => {
        const c = about();
        if (c && !c.endTime) asking.value = c;
      },
      u: () => {
        const c = undoable.value;
        if (c) void takeBack(c).catch(() => undefined); // the notice stays, with its button
      },
      '?': () => keys.current?.showModal(),
    };
    const onKey = (e: KeyboardEvent) => {
      if (e.ctrlKey || e.metaKey || e.altKey || e.defaultPrevented) return;
      const t = e.target instanceof HTMLElement ? e.target : document.body;
      if (t.closest('input, textarea, select, dialog, [contenteditable], [role=slider]')) return;
      const inList = Boolean(rows.current?.contains(t));
      if (inList && (e.key === 'ArrowDown' || e.key === 'ArrowUp')) {
        e.preventDefault();
        step(e.key === 'ArrowDown' ? 1 : -1);
      } else if (inList && (e.key === 'Home' || e.key === 'End')) {
        e.preventDefault();
        move(e.key === 'Home' ? 0 : links().length - 1);
      } else if (e.key === 'Escape' && id) {
        go('/b');
      } else if (singleKeys()) {
        const place = views[Number(e.key) - 1];
        if (!single[e.key] && !place) return;
        e.preventDefault();
        if (place) choose(place.view);
        else single[e.key]?.();
      }
    };
    document.addEventListener('keydown', onKey);
    return () => document.removeEventListener('keydown', onKey);
  }, [go, id, next]);

  const title = which === 'open' ? say('Who needs you') : say('Ended follow-ups');
  return (
    <main class={`triage${id ? ' has-case' : ''}`}>
      <section class="side" aria-labelledby="triage-h">
        <div class="row" id="triage-h">
          {id ? <h2>{title}</h2> : <Heading>{title}</Heading>}
        </div>
        {me.value?.eraseTime && (
          <Notice kind="warn" title={say('This account is erased on {day}', { day: day(me.value.eraseTime) })}>
            <p>
              <Link to="/b/settings">{say('Keep it after all')}</Link>
            </p>
          </Notice>
        )}
        <fieldset class="views scroll">
          <legend class="ear">{say('Show')}</legend>
          {views.map((v) => (
            <button
              key={v.view}
              type="button"
              class="button"
              aria-pressed={view === v.view}
              onClick={() => choose(v.view)}
            >
              {v.word}
              {Boolean(count.get(v.view)) && <span class="number"> {count.get(v.view)}</span>}
            </button>
          ))}
        </fieldset>
        {people.length > 0 && (
          <Field
            label={say('Looked after by')}
            value={people.includes(by) ? by : ''}
            onInput={setBy}
            options={[
              { value: '', label: say('anybody') },
              ...people.map((n) => ({ value: n, label: n === me.value?.userName ? say('{n}, you', { n }) : n })),
            ]}
          />
        )}
        <Undo />
        {view === 'open' && <Gatherings />}
        {view === 'open' && loaded && <NewPhotos />}
        {which === 'ended' && (
          <p>
            <Link to="/b/insight">{say('What your sales show, all together')}</Link>
          </p>
        )}
        {Boolean(listError.value) && <Trouble error={listError.value} again={() => void loadCases(which)} />}
        {!loaded && !listError.value && <Waiting />}
        {shown?.length === 0 && !loaded?.next && (
          <p class="muted">
            {view !== 'open'
              ? views.find((v) => v.view === view)?.none
              : count.get('aside')
                ? say('Everything is set aside.')
                : say('Nobody is being followed up. Hand over an animal from the stock book, and its case opens here.')}
          </p>
        )}
        <ol class="cases" ref={rows}>
          {shown?.map((c) => (
            <Row key={c.name} c={c} current={idOf(c.name) === id} now={now} />
          ))}
        </ol>
        {loaded?.next && which === 'ended' && (
          <div class="actions">
            <Button onClick={() => void loadCases(which, true)}>{say('Show more')}</Button>
          </div>
        )}
        <div class="keys">
          <Button kind="quiet" onClick={() => keys.current?.showModal()}>
            {say('Keys')}
          </Button>
        </div>
      </section>
      <section class="main" aria-label={say('Case')}>
        {id ? (
          <CasePage key={id} name={`${breeder()}/cases/${id}`} next={next ? `/b/cases/${next}` : ''} />
        ) : (
          <div class="stack empty">
            <p class="muted">{say('Choose a case on the left.')}</p>
            {shown?.[0] && (
              <p>
                <Link to={`/b/cases/${idOf(shown[0].name)}`} class="button main">
                  {say('Begin at the top: {animal}', {
                    animal: shown[0].animal?.displayName || shown[0].commonName || '',
                  })}
                </Link>
              </p>
            )}
          </div>
        )}
      </section>
      <AsideDialog
        done={(c) => {
          if (idOf(c.name) === id) go(next && isWide() ? `/b/cases/${next}` : '/b');
        }}
      />
      <Keys dialog={keys} />
    </main>
  );
}

/** One row. With a thousand of them only those that changed are made anew. */
class Row extends Component<{ c: CaseJson; current: boolean; now: Date }> {
  override shouldComponentUpdate(next: { c: CaseJson; current: boolean; now: Date }): boolean {
    return next.c !== this.props.c || next.current !== this.props.current || next.now !== this.props.now;
  }

  override render(): JSX.Element {
    const { c, current, now } = this.props;
    const news = newsOf(c);
    const todo = toDo(c);
    const aside = isAside(c, now);
    return (
      <li class={news ? 'new' : undefined}>
        <Link to={`/b/cases/${idOf(c.name)}`} class="case" data-name={c.name} current={current ? 'true' : undefined}>
          <span class="case-top">
            <Standing standing={c.standing} />
            {news && <span class="fresh">{news}</span>}
          </span>
          <span class="animal">{animalName(c)}</span>
          <span class="muted">
            {facts(
              c.commonName,
              c.claimed ? c.keeperName || say('keeper without a name') : say('not claimed yet'),
              c.lookedAfterBy && say('looked after by {lookedAfterBy}', { lookedAfterBy: c.lookedAfterBy }),
            )}
          </span>
          {c.headline && <span class="headline">{c.headline}</span>}
          {aside ? (
            <span class="todo">
              {say('Until {day}: {asideReason}', { day: day(c.asideTime ?? '', now), asideReason: c.asideReason })}
            </span>
          ) : (
            todo && <span class="todo">{todo}</span>
          )}
          <span class="muted">
            {c.endTime
              ? say('ended {ago}', { ago: ago(c.endTime, now) })
              : c.lastHeardTime
                ? say('last heard {ago}', { ago: ago(c.lastHeardTime, now) })
                : say('handed over {ago}, nothing heard yet', { ago: ago(c.handoverTime, now) })}
          </span>
        </Link>
      </li>
    );
  }
}

const keyWords: [string, string][] = [
  [say('j, k'), say('down, up in the list; the arrows too')],
  [say('Enter'), say('open the case')],
  ['n', say('the next case')],
  [say('Esc'), say('back to the list')],
  ['r', say('write an answer')],
  ['a', say('agree on the first step')],
  ['s', say('set aside')],
  ['u', say('take the last one back')],
  [say('1 to 7'), say('what is shown')],
  ['?', say('this list')],
];

function Keys({ dialog }: { dialog: { current: HTMLDialogElement | null } }): JSX.Element {
  return (
    <dialog ref={dialog} aria-labelledby="keys-h">
      <div class="stack">
        <h2 id="keys-h">{say('Keys')}</h2>
        {!singleKeys() && (
          <p>{say('Single keys are off. Settings turns them on; the arrows, Enter and Esc always work.')}</p>
        )}
        <dl class="key-words">
          {keyWords.map(([key, word]) => (
            <div key={key}>
              <dt>{key}</dt>
              <dd>{word}</dd>
            </div>
          ))}
        </dl>
        <div class="actions">
          <Button onClick={() => dialog.current?.close()}>{say('Close')}</Button>
        </div>
      </div>
    </dialog>
  );
}

/** The present, renewed every minute, so that "3 minutes ago" does not stand still. */
function useMinute(): Date {
  const [now, setNow] = useState(() => new Date());
  useEffect(() => {
    const timer = setInterval(() => setNow(new Date()), 60_000);
    return () => clearInterval(timer);
  }, []);
  return now;
}
