// One animal after another on the scale.

import type { JSX } from 'preact';
import { useLayoutEffect, useRef, useState } from 'preact/hooks';
import type { EntryJson, StockAnimalJson } from '../../core/contract';
import { back, done, goTo, skip, takeUp } from '../../core/run';
import { facts, say } from '../../core/say';
import { changeSettings, settings } from '../../core/settings';
import { neighbourSlip, slipOf } from '../../core/slip';
import { ago } from '../../core/time';
import { formatMass, formatNumber, massInWords, parseMass } from '../../core/units';
import { Button, Notice } from '../parts/controls';
import { Icon } from '../parts/icons';
import { Scan } from '../parts/scan';
import { speciesName } from './animals';
import { useLoad } from './hooks';
import { Heading } from './nav';
import { species as speciesTable } from './reference';
import { type Doing, Keys, nameOf } from './running';
import { animalOnLabel } from './sell';
import { singleKeys } from './triage';

/** The person's decimal mark. */
const mark = formatNumber(1.5, 1).replace(/\d/g, '');

export default function WeighRun(d: Doing): JSX.Element {
  const { run, stock } = d;
  const s = stock.get(run.at);
  const [byLabel, setByLabel] = useState(false);
  const [scanning, setScanning] = useState(false);
  const [said, setSaid] = useState('');
  const [wrong, setWrong] = useState('');
  const last = run.steps.at(-1);
  const line = (name: string) => [nameOf(stock.get(name)), stock.get(name)?.animal?.place].filter(Boolean).join(', ');
  const nextUp = (name: string, text: string) =>
    setSaid(`${text} ${name ? say('Now {line}.', { line: line(name) }) : say('That was the last one.')}`);
  // Said when the device has it; who is next stands in the run by then.
  const at = useRef(run.at);
  at.current = run.at;
  const onwards = () => {
    setWrong('');
    setScanning(byLabel);
  };
  const save = (entry: EntryJson) => {
    const text = say('{name} {mass}, saved.', { name: nameOf(s), mass: formatMass(Number(entry.weighIn?.massG)) });
    onwards();
    void d.log(run.at, entry).then((ok) => ok && nextUp(at.current, text));
  };
  const undo = () => {
    setScanning(false);
    void d
      .undo()
      .then(
        (step) => step && nextUp(step.animal, say('{name}: taken back.', { name: nameOf(stock.get(step.animal)) })),
      );
  };
  const pass = () => {
    onwards();
    nextUp(d.change(skip)?.at ?? '', say('{name} skipped.', { name: nameOf(s) }));
  };
  const act = useRef({ undo, pass, back: () => d.change(back) });
  act.current = { undo, pass, back: () => d.change(back) };
  useLayoutEffect(() => {
    const key = (e: KeyboardEvent) => {
      const field = e.target instanceof HTMLElement && e.target.closest('input, select, textarea, dialog');
      if ((field && !field.closest('.pad')) || e.ctrlKey || e.metaKey || e.altKey) return;
      if (e.key === 'ArrowDown') act.current.pass();
      else if (e.key === 'ArrowUp') act.current.back();
      else if (e.key.toLowerCase() === 'u' && singleKeys()) act.current.undo();
      else return;
      e.preventDefault();
    };
    document.addEventListener('keydown', key);
    return () => document.removeEventListener('keydown', key);
  }, []);

  const found = (text: string) => {
    const name = animalOnLabel(text);
    const of = name ? stock.get(name) : undefined;
    if (!name || !of) return setWrong(say('That code is no label of an animal in your stock book.'));
    if (of.away) return setWrong(say('{name} has been handed over.', { name: nameOf(of) }));
    setWrong('');
    setScanning(false);
    d.change((r) => goTo(r, name));
    setSaid(say('Now {line}.', { line: line(name) }));
  };
  return (
    <>
      <p class="ear" role="status">
        {said}
      </p>
      {!run.at ? (
        <Over d={d} />
      ) : scanning ? (
        <>
          <Heading key="scan">{say('Which tub is next?')}</Heading>
          <Scan
            what={say('the tub’s label')}
            closing={say('Go by place instead')}
            onClose={() => {
              setByLabel(false);
              setScanning(false);
            }}
            onText={found}
          >
            {wrong && (
              <Notice kind="warn" live>
                <p>{wrong}</p>
              </Notice>
            )}
          </Scan>
        </>
      ) : (
        <One key={run.at} d={d} s={s ?? {}} save={save} pass={pass} />
      )}
      <div class="actions">
        {last && (
          <Button icon="back" onClick={undo} aria-keyshortcuts="u">
            {say('Undo {name}, {mass}', {
              name: nameOf(stock.get(last.animal)),
              mass: formatMass(Number(last.entry.weighIn?.massG)),
            })}
          </Button>
        )}
        {run.at && !scanning && (
          <Button
            icon="photo"
            onClick={() => {
              setByLabel(true);
              setScanning(true);
            }}
          >
            {say('Scan a label')}
          </Button>
        )}
      </div>
      <Keys>
        {singleKeys()
          ? say('{enter} saves, {down} skips, {up} goes back, {undo} takes the last one back.', {
              enter: <kbd>{say('Enter')}</kbd>,
              down: <kbd>↓</kbd>,
              up: <kbd>↑</kbd>,
              undo: <kbd>U</kbd>,
            })
          : say('{enter} saves, {down} skips, {up} goes back.', {
              enter: <kbd>{say('Enter')}</kbd>,
              down: <kbd>↓</kbd>,
              up: <kbd>↑</kbd>,
            })}
      </Keys>
      <details>
        <summary>{say('All animals of this run')}</summary>
        <ul class="list stock">
          {run.names.map((n) => {
            const step = run.steps.findLast((x) => x.animal === n);
            return (
              <li key={n}>
                <button
                  type="button"
                  aria-current={n === run.at ? 'true' : undefined}
                  onClick={() => {
                    setScanning(false);
                    d.change((r) => goTo(r, n));
                  }}
                >
                  <strong>{nameOf(stock.get(n))}</strong>
                  <span class="row">
                    {step ? (
                      <>
                        <Icon name="check" /> {formatMass(Number(step.entry.weighIn?.massG))}
                      </>
                    ) : run.skipped.includes(n) ? (
                      'skipped'
                    ) : (
                      ''
                    )}
                  </span>
                  <span class="muted">{stock.get(n)?.animal?.place}</span>
                </button>
              </li>
            );
          })}
        </ul>
      </details>
    </>
  );
}

/** Whose weight this is, if it is that of the tub before or after and not the animal's own. */
export function beside(d: Pick<Doing, 'run' | 'stock'>, s: StockAnimalJson, g: number): string {
  const i = d.run.names.indexOf(d.run.at);
  for (const n of [d.run.names[i - 1], d.run.names[i + 1]]) {
    const other = d.stock.get(n ?? '');
    if (!other || !neighbourSlip(Number(s.massG ?? 0), g, Number(other.massG ?? 0))) continue;
    return say(
      '{mass} is what {name} in the next tub weighed {ago}. This one weighed {before} {agoBefore}. Is {now} right?',
      {
        mass: formatMass(Number(other.massG)),
        name: nameOf(other),
        ago: ago(other.weighTime),
        before: formatMass(Number(s.massG)),
        agoBefore: ago(s.weighTime),
        now: formatMass(g),
      },
    );
  }
  return '';
}

function One({
  d,
  s,
  save,
  pass,
}: {
  d: Doing;
  s: StockAnimalJson;
  save: (entry: EntryJson) => void;
  pass: () => void;
}): JSX.Element {
  const kinds = useLoad('species', () => speciesTable());
  const [text, setText] = useState('');
  const [problem, setProblem] = useState('');
  const [asked, setAsked] = useState<{ why: string; entry: EntryJson }>();
  const box = useRef<HTMLInputElement>(null);
  const no = useRef<HTMLDivElement>(null);
  const name = nameOf(s);
  const unit = settings.value.mass;
  const grams = text ? parseMass(text) : null;
  // Before it is drawn: the number is typed at once. A question is answered by nobody's habit of pressing Enter.
  useLayoutEffect(() => {
    if (asked) no.current?.querySelector('button')?.focus({ preventScroll: true });
    else box.current?.focus({ preventScroll: true });
  }, [asked]);
  const put = (t: string) => {
    setText(t.replace(/[^\d.,]/g, '').slice(0, 8));
    setProblem('');
  };
  const press = (key: string) => put(key === 'del' ? text.slice(0, -1) : text + key);
  const submit = () => {
    if (!grams) return setProblem(say('Give the weight as a number, such as 84 or 84,5.'));
    const entry: EntryJson = { happenTime: new Date().toISOString(), weighIn: { massG: grams } };
    const why = slipOf(s, entry)?.text ?? beside(d, s, grams);
    if (why) return setAsked({ why, entry: { ...entry, confirmed: true } });
    save(entry);
  };
  const keep = (e: PointerEvent) => e.preventDefault(); // the box keeps the focus
  const key = (k: string, label?: string) => (
    <button type="button" tabIndex={-1} aria-label={label} onPointerDown={keep} onClick={() => press(k)}>
      {k === 'del' ? <Icon name="back" /> : k}
    </button>
  );
  return (
    <>
      <div>
        <Heading quietly>{name}</Heading>
        <p class="muted" id="run-of">
          {facts(s.animal?.place, speciesName(kinds.data, s.animal?.species))}
          <br />
          {s.massG
            ? say('Last {mass}, {ago}', { mass: formatMass(Number(s.massG)), ago: ago(s.weighTime) })
            : say('Not weighed before')}
        </p>
      </div>
      {asked ? (
        <Notice
          kind="warn"
          live
          title={say('Is {mass} right for {name}?', { mass: formatMass(Number(asked.entry.weighIn?.massG)), name })}
        >
          <p>{asked.why}</p>
          <div class="actions" ref={no}>
            <Button
              kind="main"
              onClick={() => {
                setAsked(undefined);
                setText('');
              }}
            >
              {say('No, type it again')}
            </Button>
            <Button onClick={() => save(asked.entry)}>{say('It is right, save it')}</Button>
          </div>
        </Notice>
      ) : (
        <form
          class="pad"
          noValidate
          onSubmit={(e) => {
            e.preventDefault();
            submit();
          }}
        >
          <div class="number">
            <input
              ref={box}
              aria-label={
                unit === 'g'
                  ? say('Weight of {name}, in grams', { name })
                  : say('Weight of {name}, in ounces', { name })
              }
              aria-describedby={problem ? 'run-problem run-of' : 'run-of'}
              aria-invalid={problem ? true : undefined}
              inputMode="none"
              autoComplete="off"
              value={text}
              placeholder="0"
              onInput={(e) => put(e.currentTarget.value)}
            />
            <Button
              kind="quiet"
              aria-label={unit === 'g' ? say('In grams. Change to ounces') : say('In ounces. Change to grams')}
              onClick={() => {
                changeSettings({ mass: unit === 'g' ? 'oz' : 'g' });
                box.current?.focus({ preventScroll: true });
              }}
            >
              {unit}
            </Button>
          </div>
          <p class={problem ? 'problem' : 'muted words'} id="run-problem" role={problem ? 'alert' : undefined}>
            {problem || (grams ? massInWords(grams) : ' ')}
          </p>
          <fieldset class="keys-big">
            <legend class="ear">{say('Number pad')}</legend>
            {['1', '2', '3'].map((k) => key(k))}
            {key('del', say('Delete the last digit'))}
            {['4', '5', '6'].map((k) => key(k))}
            <button type="button" class="skip" onClick={pass} aria-keyshortcuts="ArrowDown">
              {say('Skip')}
            </button>
            {['7', '8', '9'].map((k) => key(k))}
            <button type="submit" class="save">
              {say('Save')}
            </button>
            {key(mark, say('Decimal mark'))}
            <button type="button" class="wide" tabIndex={-1} onPointerDown={keep} onClick={() => press('0')}>
              0
            </button>
          </fieldset>
        </form>
      )}
    </>
  );
}

/** Nobody is left. */
function Over({ d }: { d: Doing }): JSX.Element {
  const { run, stock } = d;
  return (
    <>
      <Heading key="over">{say('That was the last one')}</Heading>
      <Notice kind="good">
        <p>
          {[
            say('{done} of {n} are weighed.', { done: done(run), n: run.names.length }),
            run.skipped.length > 0 &&
              say('Skipped: {names}.', { names: run.skipped.map((n) => nameOf(stock.get(n))).join(', ') }),
          ]
            .filter(Boolean)
            .join(' ')}
        </p>
      </Notice>
      {run.skipped.length > 0 && (
        <div class="actions">
          <Button kind="main" onClick={() => d.change(takeUp)}>
            {say('Weigh those that were skipped')}
          </Button>
        </div>
      )}
    </>
  );
}
