// A whole rack in one pass: what each animal eats is filled in, and one tap says whether it took it.

import type { JSX } from 'preact';
import { useLayoutEffect, useRef, useState } from 'preact/hooks';
import type { EntryJson, OfferJson, OfferResultJson, PreyStateJson, StockAnimalJson } from '../../core/contract';
import { done } from '../../core/run';
import { say, within } from '../../core/say';

import { settings } from '../../core/settings';
import { slipOf } from '../../core/slip';
import { ago } from '../../core/time';
import { massForInput, parseMass } from '../../core/units';
import { entryLine, preyCode, preyName, preyStates, preyWords, resultWords } from '../../core/words';
import { Button, Field, Notice } from '../parts/controls';
import { Icon } from '../parts/icons';
import { Heading } from './nav';
import { type Doing, Keys, nameOf } from './running';
import { singleKeys } from './triage';

/** What it eats: as at its last meal, else as it was last offered. */
export function usualPrey(s: StockAnimalJson | undefined): Omit<OfferJson, 'result'> {
  const { prey = '', preyState = 'PREY_STATE_UNSPECIFIED', preyG = 0 } = (s?.lastMeal ?? s?.lastOffer)?.offer ?? {};
  return { prey, preyState, preyG };
}

export default function FeedRun(d: Doing): JSX.Element {
  const { run, stock } = d;
  const [said, setSaid] = useState('');
  const list = useRef<HTMLUListElement>(null);
  const [focus, setFocus] = useState<{ name: string; show: boolean }>();
  const stepOf = (name: string) => run.steps.findLast((s) => s.animal === name);
  const rows = () => [...(list.current?.querySelectorAll<HTMLElement>(':scope > li') ?? [])];
  // Who goes by keys or by ear stands at the next one; what the thumb sees does not jump.
  useLayoutEffect(() => {
    if (!focus) return;
    const row = rows().find((li) => li.dataset['name'] === focus.name);
    row?.querySelector('button')?.focus({ preventScroll: !focus.show });
  }, [focus]);
  const log = (name: string, entry: EntryJson, byKey: boolean) => {
    const names = run.names;
    const rest = names.filter((n) => n !== name && !stepOf(n));
    const next = rest.find((n) => names.indexOf(n) > names.indexOf(name)) ?? rest[0] ?? name;
    setFocus({ name: next, show: byKey });
    void d.log(name, entry).then(
      (ok) =>
        ok &&
        setSaid(
          say('{name}: {entry}. Saved, {n} of {all}.', {
            name: nameOf(stock.get(name)),
            entry: entryLine(entry),
            n: names.length - rest.length,
            all: names.length,
          }),
        ),
    );
  };
  const undo = (name?: string) =>
    void d.undo(name).then((step) => {
      if (!step) return;
      setSaid(say('{name}: taken back.', { name: nameOf(stock.get(step.animal)) }));
      setFocus({ name: step.animal, show: true });
    });
  const act = useRef(undo);
  act.current = undo;
  useLayoutEffect(() => {
    const key = (e: KeyboardEvent) => {
      if (e.target instanceof HTMLElement && e.target.closest('input, select, textarea, dialog')) return;
      if (e.ctrlKey || e.metaKey || e.altKey) return;
      const all = rows();
      const now = all.findIndex((li) => li.contains(document.activeElement));
      const first = all.findIndex((li) => li.querySelector('[data-key]'));
      const press = (k: string) =>
        all[now >= 0 ? now : first]?.querySelector<HTMLElement>(`[data-key="${k}"]`)?.click();
      if (e.key === 'ArrowDown') all[now >= 0 ? now + 1 : first]?.querySelector('button')?.focus();
      else if (e.key === 'ArrowUp') all[Math.max(0, now - 1)]?.querySelector('button')?.focus();
      else if (!singleKeys()) return;
      else if (/^[tn]$/i.test(e.key)) press(e.key.toLowerCase());
      else if (e.key.toLowerCase() === 'u') act.current();
      else return;
      e.preventDefault();
    };
    document.addEventListener('keydown', key);
    return () => document.removeEventListener('keydown', key);
  }, []);
  const over = done(run) === run.names.length;
  return (
    <>
      <Heading>{over ? say('All are done') : say('What did they take?')}</Heading>
      <p class="ear" role="status">
        {said}
      </p>
      <Keys>
        {singleKeys()
          ? say('{down} {up} go from one to the next, {took} took it, {not} did not, {back} takes the last one back.', {
              down: <kbd>↓</kbd>,
              up: <kbd>↑</kbd>,
              took: <kbd>T</kbd>,
              not: <kbd>N</kbd>,
              back: <kbd>U</kbd>,
            })
          : say('{down} {up} go from one to the next.', { down: <kbd>↓</kbd>, up: <kbd>↑</kbd> })}
      </Keys>
      <ul class="list feeding" ref={list}>
        {run.names.map((n) => (
          <Row
            key={n}
            name={n}
            s={stock.get(n) ?? {}}
            entry={stepOf(n)?.entry}
            log={(entry, byKey) => log(n, entry, byKey)}
            undo={() => undo(n)}
          />
        ))}
      </ul>
      <datalist id="run-prey">
        {['mouse', 'rat', 'chick', 'fish', 'lizard'].map((p) => (
          <option key={p} value={preyName(p)} />
        ))}
      </datalist>
    </>
  );
}

function Row({
  name,
  s,
  entry,
  log,
  undo,
}: {
  name: string;
  s: StockAnimalJson;
  /** What was logged of it in this run. */
  entry: EntryJson | undefined;
  log: (entry: EntryJson, byKey: boolean) => void;
  undo: () => void;
}): JSX.Element {
  const [open, setOpen] = useState(false);
  const [asked, setAsked] = useState<{ why: string; entry: EntryJson }>();
  const label = nameOf(s);
  const tell = (body: Partial<EntryJson>, byKey: boolean) => {
    const e: EntryJson = { happenTime: new Date().toISOString(), ...body };
    const slip = slipOf(s, e);
    if (slip) return setAsked({ why: slip.text, entry: { ...e, confirmed: true } });
    setOpen(false);
    log(e, byKey);
  };
  const offer = (result: OfferResultJson) => (e: MouseEvent) =>
    tell({ offer: { result, ...usualPrey(s) } }, e.detail === 0);
  const last = s.lastOffer;
  return (
    <li data-name={name} class={entry ? 'done' : undefined}>
      <div class="row">
        <strong>{label}</strong>
        <span class="muted">{s.animal?.place}</span>
      </div>
      {entry ? (
        <>
          <p class="took">
            <Icon name="check" />
            <span>
              {entryLine(entry)}
              {entry.note && `. ${entry.note}`}
            </span>
          </p>
          <div class="taps">
            <Button kind="quiet" icon="back" aria-label={say('Undo: {label}', { label })} onClick={undo}>
              {say('Undo')}
            </Button>
          </div>
        </>
      ) : (
        <>
          <p>
            {preyWords(usualPrey(s))}
            <span class="muted">
              {' '}
              {last?.offer
                ? `· ${within(resultWords[last.offer.result ?? 'OFFER_RESULT_UNSPECIFIED'] ?? '')} ${ago(last.happenTime)}`
                : say('· not offered before')}
            </span>
          </p>
          {asked ? (
            <Notice kind="warn" live title={say('Is this right?')}>
              <p>{asked.why}</p>
              <div class="actions">
                <Button
                  onClick={() => {
                    setAsked(undefined);
                    setOpen(true);
                  }}
                >
                  {say('No, change it')}
                </Button>
                <Button
                  onClick={(e: MouseEvent) => {
                    setAsked(undefined);
                    setOpen(false);
                    log(asked.entry, e.detail === 0);
                  }}
                >
                  {say('It is right, save it')}
                </Button>
              </div>
            </Notice>
          ) : (
            <div key="taps" class="taps">
              <Button
                kind="main"
                data-key="t"
                aria-label={say('{label}: took it', { label })}
                onClick={offer('OFFER_RESULT_EATEN')}
              >
                {say('Took it')}
              </Button>
              <Button
                data-key="n"
                aria-label={say('{label}: did not take it', { label })}
                onClick={offer('OFFER_RESULT_REFUSED')}
              >
                {say('Did not')}
              </Button>
              <Button
                kind="quiet"
                aria-expanded={open}
                aria-label={say('{label}: something else', { label })}
                onClick={() => setOpen(!open)}
              >
                {say('Other')}
              </Button>
            </div>
          )}
          {open && (
            <div key="else" hidden={asked !== undefined}>
              <Else s={s} label={label} tell={tell} />
            </div>
          )}
        </>
      )}
    </li>
  );
}

/** By exception: other prey, a note, another course, or none because it is in shed. */
function Else({
  s,
  label,
  tell,
}: {
  s: StockAnimalJson;
  label: string;
  tell: (body: Partial<EntryJson>, byKey: boolean) => void;
}): JSX.Element {
  const usual = usualPrey(s);
  const [prey, setPrey] = useState(preyName(usual.prey));
  const [state, setState] = useState<PreyStateJson>(usual.preyState ?? 'PREY_STATE_UNSPECIFIED');
  const [size, setSize] = useState(Number(usual.preyG) > 0 ? massForInput(Number(usual.preyG)) : '');
  const [note, setNote] = useState('');
  const [problem, setProblem] = useState('');
  const noted = note.trim() ? { note: note.trim() } : {};
  const offer = (result: OfferResultJson) => (e: MouseEvent) => {
    const preyG = size.trim() ? parseMass(size) : 0;
    if (preyG === null) return setProblem(say('Give the weight as a number, or leave it empty.'));
    tell({ offer: { result, prey: preyCode(prey), preyState: state, preyG }, ...noted }, e.detail === 0);
  };
  return (
    <fieldset class="card stack">
      <legend class="ear">{say('{label}: something else', { label })}</legend>
      <div class="row wide">
        <Field label={say('Prey')} list="run-prey" maxLength={40} value={prey} onInput={setPrey} />
        <Field
          label={say('Offered')}
          value={state}
          onInput={(v) => setState(v as PreyStateJson)}
          options={preyStates}
        />
        <Field
          label={say('Prey weight')}
          unit={settings.value.mass}
          inputMode="decimal"
          value={size}
          onInput={(v) => {
            setSize(v);
            setProblem('');
          }}
          error={problem || undefined}
        />
      </div>
      <Field label={say('Note')} value={note} onInput={setNote} maxLength={1000} />
      <div class="actions">
        <Button onClick={offer('OFFER_RESULT_EATEN')}>{say('Took it')}</Button>
        <Button onClick={offer('OFFER_RESULT_REFUSED')}>{say('Did not')}</Button>
        <Button onClick={offer('OFFER_RESULT_STRUCK')}>{say('Struck, let go of it')}</Button>
        <Button onClick={offer('OFFER_RESULT_REGURGITATED')}>{say('Brought a meal up')}</Button>
        <Button onClick={(e: MouseEvent) => tell({ shed: { stage: 'SHED_STAGE_OPAQUE' }, ...noted }, e.detail === 0)}>
          {say('Eyes cloudy, not offered')}
        </Button>
      </div>
    </fieldset>
  );
}
