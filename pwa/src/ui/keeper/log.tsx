import type { ComponentChildren, JSX } from 'preact';
import { useEffect, useState } from 'preact/hooks';
import type {
  CaseJson,
  ClimateReadingJson,
  EntryJson,
  OfferResultJson,
  PreyStateJson,
  ShedStageJson,
  SignInfoJson,
  TakenWithJson,
} from '../../core/contract';
import { caseAddress } from '../../core/ids';
import { say, within } from '../../core/say';

import { settings } from '../../core/settings';
import { weightSlip } from '../../core/slip';
import { ago, clock, day, forInput, fromInput } from '../../core/time';
import {
  formatMass,
  massForInput,
  massInWords,
  parseMass,
  parseNumber,
  parseTemp,
  tempForInput,
} from '../../core/units';
import { entryLine, preyCode, preyName, preyWords } from '../../core/words';
import { current, type Line } from '../../store/copies';
import { go, Screen, useUnsaved } from '../nav';
import { Button, Failed, Field, Notice } from '../parts/controls';
import { Icon } from '../parts/icons';
import { animalName, known, linesOf, save, saved } from './state';

/** An entry that a form corrects, with the outbox row it takes the place of when the service refused it. */
export interface Old {
  entry: EntryJson;
  instead?: number;
}

interface FormProps {
  c: CaseJson;
  old?: Old | undefined;
}

/** What every log screen shares: when, note, saving, and where to go after. */
function useEntry({ c, old }: FormProps) {
  const [when, setWhen] = useState(old?.entry.happenTime ? forInput(new Date(old.entry.happenTime)) : '');
  const [note, setNote] = useState(old?.entry.note ?? '');
  const [error, setError] = useState('');
  const [busy, setBusy] = useState(false);

  const submit = async (body: Partial<EntryJson>, confirmed = false) => {
    const at = when ? fromInput(when) : new Date();
    if (!at) return setError(say('Please give the day and the time, or choose “now”.'));
    if (at.getTime() > Date.now() + 10 * 60_000) return setError(say('That time lies ahead. Please correct it.'));
    // A time that was not touched keeps its seconds.
    const was = old?.entry.happenTime;
    const happenTime = was && forInput(new Date(was)) === when ? was : at.toISOString();
    const entry: EntryJson = {
      happenTime,
      ...(note.trim() && { note: note.trim() }),
      ...(confirmed && { confirmed: true }),
      ...(old && old.instead === undefined && old.entry.name && { replaces: old.entry.name }),
      ...(old?.instead !== undefined && old.entry.replaces && { replaces: old.entry.replaces }),
      ...body,
    };
    setBusy(true);
    setError('');
    try {
      const id = await save({ case: c, entry, ...(old?.instead !== undefined && { instead: old.instead }) });
      saved.value = { case: c.name ?? '', id, text: `${entryLine(entry, { signs: known.value?.signs })}.` };
      go(caseAddress(c.name ?? ''));
    } catch (e) {
      setError(e instanceof Error ? e.message : String(e));
      setBusy(false);
    }
  };
  return { when, setWhen, note, setNote, error, setError, busy, submit };
}

type Entering = ReturnType<typeof useEntry>;

function When({ e }: { e: Entering }): JSX.Element {
  const [open, setOpen] = useState(e.when !== '');
  if (!open) {
    return (
      <div class="row">
        <span>{say('When: {now}', { now: <strong>{say('now')}</strong> })}</span>
        <Button
          kind="quiet"
          onClick={() => {
            e.setWhen(forInput(new Date()));
            setOpen(true);
          }}
        >
          {say('Another time')}
        </Button>
      </div>
    );
  }
  return (
    <div class="stack">
      <Field
        label={say('When')}
        type="datetime-local"
        value={e.when}
        onInput={e.setWhen}
        max={forInput(new Date(Date.now() + 60_000))}
      />
      <Button
        kind="quiet"
        onClick={() => {
          e.setWhen('');
          setOpen(false);
        }}
      >
        {say('It was just now')}
      </Button>
    </div>
  );
}

function Note({ e }: { e: Entering }): JSX.Element {
  const [open, setOpen] = useState(e.note !== '');
  return open ? (
    <Field label={say('Note')} value={e.note} onInput={e.setNote} lines={2} maxLength={1000} />
  ) : (
    <div>
      <Button kind="quiet" icon="plus" onClick={() => setOpen(true)}>
        {say('Add a note')}
      </Button>
    </div>
  );
}

function Form({
  e,
  c,
  old,
  title,
  children,
}: FormProps & { e: Entering; title: string; children: ComponentChildren }): JSX.Element {
  return (
    <Screen
      title={old ? say('Change: {title}', { title: within(title) }) : title}
      back={caseAddress(c.name ?? '', old ? 'history' : '')}
    >
      {old && (
        <p class="muted">
          {say('Before: {entry}. It stays in the history beside the new one.', {
            entry: entryLine(old.entry, { signs: known.value?.signs }),
          })}
        </p>
      )}
      {children}
      <Failed text={e.error} />
    </Screen>
  );
}

function lastOf(c: CaseJson, has: (e: EntryJson) => boolean, but?: EntryJson): Line | undefined {
  const replaced = but?.name;
  return current(linesOf(c)).find((l) => has(l.entry) && l.entry.name !== replaced);
}

const results: readonly { value: OfferResultJson; label: string; hint: string }[] = [
  { value: 'OFFER_RESULT_EATEN', label: say('Ate it'), hint: '' },
  { value: 'OFFER_RESULT_REFUSED', label: say('Did not take it'), hint: '' },
  { value: 'OFFER_RESULT_STRUCK', label: say('Struck, then let go'), hint: say('and did not eat it after') },
  { value: 'OFFER_RESULT_REGURGITATED', label: say('Brought a meal up'), hint: say('what it ate earlier') },
];

export function OfferForm({ c, old }: FormProps): JSX.Element {
  const e = useEntry({ c, ...(old && { old }) });
  const last =
    old?.entry.offer ??
    lastOf(c, (x) => Boolean(x.offer?.prey))?.entry.offer ??
    known.value?.records.get(c.name ?? '')?.record?.offers?.at(-1)?.offer;
  const [prey, setPrey] = useState(preyName(last?.prey));
  const [state, setState] = useState<PreyStateJson>(last?.preyState ?? 'PREY_STATE_UNSPECIFIED');
  const [size, setSize] = useState(Number(last?.preyG) > 0 ? massForInput(Number(last?.preyG)) : '');
  const [touched, setTouched] = useState(false);
  useUnsaved(touched || e.note !== '');
  const grams = size.trim() ? parseMass(size) : 0;

  const choose = (result: OfferResultJson) => {
    if (grams === null) return e.setError(say('The size of the prey is not a number. Correct it or leave it empty.'));
    void e.submit({
      offer: { result, ...(prey && { prey: preyCode(prey) }), preyState: state, ...(grams > 0 && { preyG: grams }) },
    });
  };
  const touch =
    <T,>(set: (v: T) => void) =>
    (v: T) => {
      setTouched(true);
      set(v);
    };
  const what = { prey: preyCode(prey), preyState: state, ...(grams && { preyG: grams }) };
  return (
    <Form c={c} old={old} e={e} title={say('Food offered')}>
      <details open={!prey || Boolean(old)}>
        <summary>{prey ? say('What: {prey}', { prey: preyWords(what) }) : say('What did you offer?')}</summary>
        <div class="stack">
          <Field
            label={say('What')}
            value={prey}
            onInput={touch(setPrey)}
            maxLength={40}
            list="prey"
            hint={say('Such as rat, mouse or chick')}
          />
          <datalist id="prey">
            {['rat', 'mouse', 'chick', 'hamster', 'gerbil', 'quail'].map((p) => (
              <option key={p} value={preyName(p)} />
            ))}
          </datalist>
          <Field
            label={say('How')}
            value={state}
            onInput={touch((v: string) => setState(v as PreyStateJson))}
            options={[
              { value: 'PREY_STATE_UNSPECIFIED', label: say('I do not know') },
              { value: 'PREY_STATE_THAWED', label: say('Thawed') },
              { value: 'PREY_STATE_PREKILLED', label: say('Freshly killed') },
              { value: 'PREY_STATE_LIVE', label: say('Live') },
            ]}
          />
          <Field
            label={say('Size')}
            value={size}
            onInput={touch(setSize)}
            inputMode="decimal"
            unit={settings.value.mass}
            hint={say('Leave it empty when you do not know')}
          />
        </div>
      </details>
      <When e={e} />
      <Note e={e} />
      <section class="stack foot" aria-labelledby="how">
        <h2 id="how">{say('How did it go?')}</h2>
        <div class="tiles two">
          {results.map((r) => (
            <button
              key={r.value}
              type="button"
              class="tile"
              disabled={e.busy}
              aria-pressed={old ? old.entry.offer?.result === r.value : undefined}
              onClick={() => choose(r.value)}
            >
              <strong>{r.label}</strong>
              {r.hint && <span class="muted">{r.hint}</span>}
            </button>
          ))}
        </div>
        <p class="muted">{say('One tap saves it. You can change it after.')}</p>
      </section>
    </Form>
  );
}

export function WeighForm({ c, old }: FormProps): JSX.Element {
  const e = useEntry({ c, ...(old && { old }) });
  const [text, setText] = useState(old?.entry.weighIn ? massForInput(Number(old.entry.weighIn.massG)) : '');
  const [sure, setSure] = useState(false);
  useUnsaved(text !== '' && !old);
  const g = parseMass(text);
  const last = lastOf(c, (x) => Boolean(x.weighIn), old?.entry);
  const record = known.value?.records.get(c.name ?? '')?.record?.weighIns?.at(-1);
  const before = last?.entry ?? record;
  const beforeG = Number(before?.weighIn?.massG) || 0;
  const at = (e.when && fromInput(e.when)) || new Date();
  const odd =
    g !== null &&
    g > 0 &&
    beforeG > 0 &&
    weightSlip(beforeG, g, (at.getTime() - Date.parse(before?.happenTime ?? '')) / 86_400_000);

  const submit = () => {
    if (g === null) return e.setError(say('Please give the weight as a number, such as 62 or 62,5.'));
    if (g < 1 || g > 200_000)
      return e.setError(say('A weight lies between 1 g and 200 kg. Please look at the scale again.'));
    if (odd && !sure) return e.setError(say('Please look once more: is {mass} right?', { mass: formatMass(g) }));
    void e.submit({ weighIn: { massG: g } }, odd);
  };
  return (
    <Form c={c} old={old} e={e} title={say('Weight')}>
      <form
        class="stack grow"
        onSubmit={(ev) => {
          ev.preventDefault();
          submit();
        }}
      >
        {before && (
          <p class="muted">
            {say('Last time {mass}, {ago}.', { mass: formatMass(beforeG), ago: ago(before.happenTime) })}
          </p>
        )}
        <div class="number">
          <Field
            label={say('Weight of {animal}', { animal: animalName(c) })}
            value={text}
            onInput={(v) => {
              setText(v);
              setSure(false);
              e.setError('');
            }}
            inputMode="decimal"
            unit={settings.value.mass}
            inputRef={(el) => !old && el?.value === '' && el.focus()}
          />
          <p class="echo" aria-live="polite">
            {text.trim() && (g === null ? say('That is not a number yet.') : massInWords(g))}
          </p>
        </div>
        {odd && g !== null && (
          <Notice kind="warn" live title={say('Is {mass} right?', { mass: formatMass(g) })}>
            <p>
              {say(
                'Last time it was {mass}, so this is a big change. Look at the scale and at the unit ({unit}) again.',
                { mass: formatMass(beforeG), unit: settings.value.mass },
              )}
            </p>
            <label>
              <input type="checkbox" checked={sure} onChange={(ev) => setSure(ev.currentTarget.checked)} />
              {say('Yes, the scale shows {mass}', { mass: formatMass(g) })}
            </label>
          </Notice>
        )}
        <When e={e} />
        <Note e={e} />
        <div class="actions foot">
          <Button kind="main" type="submit" icon="check" busy={e.busy}>
            {say('Save the weight')}
          </Button>
        </div>
      </form>
    </Form>
  );
}

const stages: readonly { stage: ShedStageJson; complete?: boolean; label: string; hint: string }[] = [
  { stage: 'SHED_STAGE_OPAQUE', label: say('Eyes are cloudy'), hint: say('blue or milky: a shed is coming') },
  { stage: 'SHED_STAGE_CLEAR', label: say('Eyes are clear again'), hint: say('it sheds within days') },
  { stage: 'SHED_STAGE_SHED', complete: true, label: say('Shed in one piece'), hint: say('with both eye caps') },
  { stage: 'SHED_STAGE_SHED', complete: false, label: say('Shed in pieces'), hint: say('or some is still on') },
];

export function ShedForm({ c, old }: FormProps): JSX.Element {
  const e = useEntry({ c, ...(old && { old }) });
  useUnsaved(e.note !== '' && !old);
  return (
    <Form c={c} old={old} e={e} title={say('Shed')}>
      <When e={e} />
      <Note e={e} />
      <section class="stack foot" aria-labelledby="what">
        <h2 id="what">{say('What do you see?')}</h2>
        <div class="tiles two">
          {stages.map((s) => (
            <button
              key={s.label}
              type="button"
              class="tile"
              disabled={e.busy}
              onClick={() =>
                void e.submit({ shed: { stage: s.stage, ...(s.complete !== undefined && { complete: s.complete }) } })
              }
            >
              <strong>{s.label}</strong>
              <span class="muted">{s.hint}</span>
            </button>
          ))}
        </div>
      </section>
    </Form>
  );
}

const places = [
  { key: 'warmC', label: say('Warm side'), hint: say('on the floor, where it lies') },
  { key: 'coolC', label: say('Cool side'), hint: say('on the floor, at the other end') },
  { key: 'surfaceC', label: say('Hottest surface'), hint: say('that it can touch') },
  { key: 'nightC', label: say('At night'), hint: say('on the floor') },
] as const;

const ways: readonly { value: TakenWithJson; label: string }[] = [
  { value: 'TAKEN_WITH_PROBE', label: say('Digital probe') },
  { value: 'TAKEN_WITH_INFRARED', label: say('Point-and-read') },
  { value: 'TAKEN_WITH_DIAL', label: say('Stick-on dial') },
  { value: 'TAKEN_WITH_STRIP', label: say('Stick-on strip') },
];

export function ClimateForm({ c, old }: FormProps): JSX.Element {
  const e = useEntry({ c, ...(old && { old }) });
  const was = old?.entry.climate;
  const lastWay = lastOf(c, (x) => Boolean(x.climate), old?.entry)?.entry.climate?.takenWith;
  const [texts, setTexts] = useState<Record<string, string>>(() =>
    Object.fromEntries(places.map((p) => [p.key, was?.[p.key] === undefined ? '' : tempForInput(Number(was[p.key]))])),
  );
  const [damp, setDamp] = useState(was?.humidityPct === undefined ? '' : String(was.humidityPct));
  const [way, setWay] = useState<TakenWithJson | ''>(was?.takenWith ?? lastWay ?? '');
  const [sure, setSure] = useState(false);
  const [errors, setErrors] = useState<Record<string, string>>({});
  useUnsaved(!old && (damp !== '' || Object.values(texts).some(Boolean)));
  const unit = `°${settings.value.temp}`;
  const hot = (['warmC', 'coolC', 'nightC'] as const)
    .map((k) => parseTemp(texts[k] ?? ''))
    .find((t) => t !== null && t > 50);

  const submit = () => {
    const found: Record<string, string> = {};
    const reading: ClimateReadingJson = {};
    for (const p of places) {
      const text = (texts[p.key] ?? '').trim();
      if (!text) continue;
      const t = parseTemp(text);
      const most = p.key === 'surfaceC' ? 300 : 90;
      if (t === null) found[p.key] = say('This is not a number. Correct it or leave it empty.');
      else if (t < -20 || t > most)
        found[p.key] = say('This cannot be right in {unit}. Check the number and the unit.', { unit });
      else reading[p.key] = t;
    }
    if (damp.trim()) {
      const h = parseNumber(damp.replace('%', ''));
      if (h === null || h < 0 || h > 100) found['damp'] = say('Humidity lies between 0 and 100.');
      else reading.humidityPct = h;
    }
    setErrors(found);
    if (Object.keys(found).length > 0) return e.setError(say('One number needs a second look.'));
    if (Object.keys(reading).length === 0) return e.setError(say('Fill in at least one of them. One is enough.'));
    if (hot !== undefined && !sure) return e.setError(say('Please look at the hot reading once more.'));
    void e.submit({ climate: { ...reading, ...(way && { takenWith: way }) } }, hot !== undefined);
  };
  return (
    <Form c={c} old={old} e={e} title={say('Warmth and humidity')}>
      <form
        class="stack grow"
        onSubmit={(ev) => {
          ev.preventDefault();
          submit();
        }}
      >
        <p class="muted">{say('One number is enough. Leave the others empty.')}</p>
        <div class="pairs">
          {places.map((p) => (
            <Field
              key={p.key}
              label={p.label}
              hint={p.hint}
              value={texts[p.key] ?? ''}
              onInput={(v) => {
                setTexts({ ...texts, [p.key]: v });
                setSure(false);
              }}
              inputMode="decimal"
              unit={unit}
              error={errors[p.key]}
            />
          ))}
          <Field
            label={say('Humidity')}
            value={damp}
            onInput={setDamp}
            inputMode="decimal"
            unit="%"
            error={errors['damp']}
          />
        </div>
        <fieldset class="field">
          <legend>{say('How did you take it?')}</legend>
          <div class="choices">
            {ways.map((w) => (
              <label key={w.value}>
                <input type="radio" name="way" checked={way === w.value} onChange={() => setWay(w.value)} />
                {w.label}
              </label>
            ))}
          </div>
        </fieldset>
        {hot !== undefined && (
          <Notice kind="warn" live title={say('Hotter than any snake’s home should be')}>
            <p>{say('Is it perhaps the other unit? You have {unit} set.', { unit })}</p>
            <label>
              <input type="checkbox" checked={sure} onChange={(ev) => setSure(ev.currentTarget.checked)} />
              {say('Yes, it is that hot')}
            </label>
          </Notice>
        )}
        <When e={e} />
        <Note e={e} />
        <div class="actions foot">
          <Button kind="main" type="submit" icon="check" busy={e.busy}>
            {say('Save the reading')}
          </Button>
        </div>
      </form>
    </Form>
  );
}

/** The signs that were seen in the last four weeks and not said to be gone. */
export function openSigns(lines: readonly Line[], now = Date.now()): string[] {
  const latest = new Map<string, EntryJson>();
  for (const l of lines) {
    const code = l.entry.sign?.sign ?? '';
    const was = latest.get(code);
    if (code && (!was || (was.happenTime ?? '') < (l.entry.happenTime ?? ''))) latest.set(code, l.entry);
  }
  const since = new Date(now - 28 * 24 * 3600_000).toISOString();
  return [...latest].filter(([, e]) => !e.sign?.gone && (e.happenTime ?? '') > since).map(([code]) => code);
}

export function SignForm({ c, old, code }: FormProps & { code?: string | undefined }): JSX.Element {
  const e = useEntry({ c, ...(old && { old }) });
  const [chosen, setChosen] = useState(code ?? old?.entry.sign?.sign ?? '');
  const [gone, setGone] = useState(old?.entry.sign?.gone ?? false);
  useUnsaved(!old && e.note !== '');
  useEffect(() => scrollTo(0, 0), [chosen]);
  const signs = known.value?.signs ?? [];
  const red = (s: SignInfoJson) => s.level === 'STANDING_VET';
  const [word, setWord] = useState('');
  const found = signs.filter((s) => s.label?.toLowerCase().includes(word.trim().toLowerCase()));
  const groups = [
    { id: 'red', title: say('A reptile vet should see it'), list: found.filter(red) },
    { id: 'other', title: say('Your breeder should know'), list: found.filter((s) => !red(s)) },
  ];
  const sign = signs.find((s) => s.code === chosen);
  if (!sign) {
    const open = openSigns(current(linesOf(c)));
    const seen = signs.filter((s) => open.includes(s.code ?? ''));
    return (
      <Form c={c} old={old} e={e} title={say('What looks unwell?')}>
        {signs.length === 0 && (
          <Notice kind="warn">
            <p>
              {say(
                'The list has not reached this phone yet. If it gapes, wheezes, bleeds or hangs limp, call a reptile vet now, and write to your breeder.',
              )}
            </p>
          </Notice>
        )}
        {seen.length > 0 && (
          <section aria-labelledby="seen">
            <h2 id="seen">{say('Is it better?')}</h2>
            <ul class="list">
              {seen.map((s) => (
                <li key={s.code}>
                  <button
                    type="button"
                    onClick={() => {
                      setGone(true);
                      setChosen(s.code ?? '');
                    }}
                  >
                    <span class="grow">{say('This is gone: {label}', { label: s.label })}</span>
                    <Icon name="next" />
                  </button>
                </li>
              ))}
            </ul>
          </section>
        )}
        <p>{say('Choose what comes nearest. This is no diagnosis; it tells you what to do now.')}</p>
        {signs.length > 0 && (
          <Field
            label={say('Look for a word')}
            type="search"
            hint={say('Such as mouth, eye or skin')}
            value={word}
            onInput={setWord}
            maxLength={40}
          />
        )}
        <p role="status" class={found.length > 0 ? 'ear' : undefined}>
          {word.trim() &&
            (found.length > 0
              ? say('{n} in the list', { n: found.length })
              : signs.length > 0 && say('Nothing in the list has this word. Try a shorter one, or empty the box.'))}
        </p>
        {groups.map(
          (g) =>
            g.list.length > 0 && (
              <section key={g.title} aria-labelledby={g.id}>
                <h2 id={g.id}>{g.title}</h2>
                <ul class="list">
                  {g.list.map((s) => (
                    <li key={s.code}>
                      <button type="button" onClick={() => setChosen(s.code ?? '')}>
                        <span class="grow">{s.label}</span>
                        <Icon name="next" />
                      </button>
                    </li>
                  ))}
                </ul>
              </section>
            ),
        )}
      </Form>
    );
  }
  return (
    <Form c={c} old={old} e={e} title={gone ? say('Gone: {label}', { label: sign.label }) : (sign.label ?? '')}>
      {gone ? (
        <Notice title={say('Good news')}>
          <p>{say('Look once more, in good light, before you save it.')}</p>
          {red(sign) && (
            <p>
              {say(
                'Some illnesses come and go. If no reptile vet has seen it yet, tell one what you saw, and look at it every day for two weeks.',
              )}
            </p>
          )}
        </Notice>
      ) : (
        <Notice kind={red(sign) ? 'bad' : 'warn'} live title={red(sign) ? say('Do this now') : say('What to do')}>
          <p class="lead">{sign.doNow}</p>
          {red(sign) && (
            <p>
              {say('Your breeder sees it as soon as it is sent. Do not wait for an answer before you call the vet.')}
            </p>
          )}
        </Notice>
      )}
      <When e={e} />
      <Note e={e} />
      <div class="actions foot">
        <Button
          kind="main"
          icon="check"
          busy={e.busy}
          onClick={() => void e.submit({ sign: { sign: sign.code ?? '', ...(gone && { gone }) } })}
        >
          {gone ? say('Save that it is gone') : say('Save it and tell the breeder')}
        </Button>
        <Button
          kind="quiet"
          onClick={() => {
            setGone(false);
            setChosen('');
          }}
        >
          {say('Choose another')}
        </Button>
      </div>
    </Form>
  );
}

/** When an entry happened, for lists. */
export function whenLine(e: EntryJson): string {
  return e.happenTime ? `${day(e.happenTime)}, ${clock(e.happenTime)}` : '';
}
