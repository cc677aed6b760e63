import type { JSX } from 'preact';
import { useContext, useEffect, useRef, useState } from 'preact/hooks';
import { idOf } from '../../core/ids';
import { ago, day } from '../../core/time';
import { Button, Notice } from '../parts/controls';
import { Standing } from '../parts/standing';
import { CasePage } from './case';
import { animalName, fresh, list, listError, loadCases, type Which } from './cases';
import { Gatherings } from './gatherings';
import { Go, Heading, Link, Trouble, Waiting } from './nav';
import { breeder, me } from './session';

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

export function TriagePage({ id }: { id: string }): JSX.Element {
  const go = useContext(Go);
  const rows = useRef<HTMLOListElement>(null);
  const [which, setWhich] = useState<Which>(list.value?.which ?? 'open');
  const now = useMinute();

  // Back from a case the focus is on its row, as if one had never left.
  const came = useRef('');
  useEffect(() => {
    if (!id && came.current) {
      const all = [...(rows.current?.querySelectorAll<HTMLAnchorElement>('a.case') ?? [])];
      all.find((a) => idOf(a.dataset['name']) === came.current)?.focus();
    }
    came.current = id;
  }, [id]);

  // Loads when the filter changes; live changes keep it right after that.
  useEffect(() => {
    if (list.value?.which !== which || listError.value) void loadCases(which);
  }, [which]);

  useEffect(() => {
    const links = () => [...(rows.current?.querySelectorAll<HTMLAnchorElement>('a.case') ?? [])];
    const move = (by: number) => {
      const all = links();
      const at = all.indexOf(document.activeElement as HTMLAnchorElement);
      const open = all.findIndex((a) => a.getAttribute('aria-current') === 'true');
      const from = at >= 0 ? at : open;
      all[Math.min(all.length - 1, Math.max(0, from < 0 ? 0 : from + by))]?.focus();
    };
    const onKey = (e: KeyboardEvent) => {
      if (e.ctrlKey || e.metaKey || e.altKey || e.defaultPrevented) return;
      const t = e.target instanceof HTMLElement ? e.target : document.body;
      if (t.closest('input, textarea, select, dialog, [contenteditable], [role=slider]')) return;
      const inList = Boolean(rows.current?.contains(t));
      if (inList && (e.key === 'ArrowDown' || e.key === 'ArrowUp')) {
        e.preventDefault();
        move(e.key === 'ArrowDown' ? 1 : -1);
      } else if (inList && (e.key === 'Home' || e.key === 'End')) {
        e.preventDefault();
        links()
          .at(e.key === 'Home' ? 0 : -1)
          ?.focus();
      } else if ((e.key === 'j' || e.key === 'k') && singleKeys()) {
        e.preventDefault();
        move(e.key === 'j' ? 1 : -1);
      } else if (e.key === 'Escape' && id) {
        go('/b');
      }
    };
    document.addEventListener('keydown', onKey);
    return () => document.removeEventListener('keydown', onKey);
  }, [go, id]);

  const shown = list.value?.which === which ? list.value : undefined;
  const title = which === 'open' ? 'Who needs you' : 'Ended follow-ups';
  return (
    <main class={`triage${id ? ' has-case' : ''}`}>
      <section class="side" aria-labelledby="triage-h">
        <div class="row" id="triage-h">
          {id ? <h2>{title}</h2> : <Heading>{title}</Heading>}
        </div>
        {me.value?.eraseTime && (
          <Notice kind="warn" title={`This account is erased on ${day(me.value.eraseTime)}`}>
            <p>
              <Link to="/b/settings">Keep it after all</Link>
            </p>
          </Notice>
        )}
        <fieldset class="tabs">
          <legend class="ear">Show</legend>
          {(['open', 'ended'] as const).map((w) => (
            <button key={w} type="button" class="button" aria-pressed={which === w} onClick={() => setWhich(w)}>
              {w === 'open' ? 'Open' : 'Ended'}
            </button>
          ))}
        </fieldset>
        {which === 'open' && <Gatherings />}
        {which === 'ended' && (
          <p>
            <Link to="/b/insight">What your sales show, all together</Link>
          </p>
        )}
        {Boolean(listError.value) && <Trouble error={listError.value} again={() => void loadCases(which)} />}
        {!shown && !listError.value && <Waiting />}
        {shown?.cases.length === 0 && (
          <p class="muted">
            {which === 'open'
              ? 'Nobody is being followed up. Hand over an animal from the stock book, and its case opens here.'
              : 'No follow-up has ended yet.'}
          </p>
        )}
        <ol class="cases" ref={rows}>
          {shown?.cases.map((c) => {
            const cid = idOf(c.name);
            const isNew = c.news || fresh.value.has(c.name ?? '');
            return (
              <li key={c.name} class={isNew ? 'new' : undefined}>
                <Link to={`/b/cases/${cid}`} class="case" data-name={c.name} current={cid === id ? 'true' : undefined}>
                  <span class="case-top">
                    <Standing standing={c.standing} />
                    {isNew && <span class="fresh">new since you looked</span>}
                  </span>
                  <span class="animal">{animalName(c)}</span>
                  <span class="muted">
                    {[c.commonName, c.claimed ? c.keeperName || 'keeper without a name' : 'not claimed yet']
                      .filter(Boolean)
                      .join(' · ')}
                  </span>
                  {c.headline && <span class="headline">{c.headline}</span>}
                  <span class="muted">
                    {c.endTime
                      ? `ended ${ago(c.endTime, now)}`
                      : c.lastHeardTime
                        ? `last heard ${ago(c.lastHeardTime, now)}`
                        : `handed over ${ago(c.handoverTime, now)}, nothing heard yet`}
                  </span>
                </Link>
              </li>
            );
          })}
        </ol>
        {shown?.next && (
          <div class="actions">
            <Button onClick={() => void loadCases(which, true)}>Show more</Button>
          </div>
        )}
        <p class="muted keys">
          {singleKeys()
            ? 'Keys: j and k or the arrows move, Enter opens, Esc goes back.'
            : 'Arrow keys move in the list.'}
        </p>
      </section>
      <section class="main" aria-label="Case">
        {id ? (
          <CasePage key={id} name={`${breeder()}/cases/${id}`} />
        ) : (
          <p class="muted empty">Choose a case on the left.</p>
        )}
      </section>
    </main>
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
