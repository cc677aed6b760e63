// What is done with a case as a whole: set aside until a day, taken back, given to somebody to look after.

import { signal } from '@preact/signals';
import type { JSX } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import type {
  CaseJson,
  LookAfterCaseResponseJson,
  SetCaseAsideResponseJson,
} from '../../api/gen/warmhand/v1/case_service_pb';
import { say } from '../../core/say';
import { day } from '../../core/time';
import { Button, Field, Notice } from '../parts/controls';
import { animalName, isAside, list, seen } from './cases';
import { FormError, problem, useLoad, useSave } from './hooks';
import { Problem } from './nav';
import { ask, loadPeople, me } from './session';

/** The case that is being set aside: the dialogue is open. */
export const asking = signal<CaseJson | undefined>(undefined);
/** What was set aside last on this screen, for as long as it can be taken back in one go. */
export const undoable = signal<CaseJson | undefined>(undefined);

const days = [
  { after: 1, label: say('Tomorrow') },
  { after: 3, label: say('In three days') },
  { after: 7, label: say('In a week') },
] as const;

/** The beginning of a day on this person's calendar. */
export function morning(after: number, now = new Date()): Date {
  return new Date(now.getFullYear(), now.getMonth(), now.getDate() + after);
}

/** What a date box holds, as that day's beginning here; undefined when it holds none. */
export function fromDate(text: string): Date | undefined {
  const [, y, m, d] = /^(\d{4})-(\d\d)-(\d\d)$/.exec(text) ?? [];
  return y ? new Date(Number(y), Number(m) - 1, Number(d)) : undefined;
}

export async function takeBack(c: CaseJson): Promise<void> {
  const answer = await ask<SetCaseAsideResponseJson>('POST', `/v1/${c.name}:setAside`, {});
  if (answer.case) seen(answer.case);
  if (undoable.value?.name === c.name) undoable.value = undefined;
}

/** Sets the case of `asking` aside; `done` is told which. */
export function AsideDialog({ done }: { done: (c: CaseJson) => void }): JSX.Element | null {
  const c = asking.value;
  return c ? <Dialog key={c.name} c={c} done={done} /> : null;
}

function Dialog({ c, done }: { c: CaseJson; done: (c: CaseJson) => void }): JSX.Element {
  const ref = useRef<HTMLDialogElement>(null);
  const [after, setAfter] = useState<number>(3);
  const [date, setDate] = useState('');
  const [reason, setReason] = useState('');
  const save = useSave();
  const close = () => {
    asking.value = undefined;
  };
  useEffect(() => {
    const back = document.activeElement;
    ref.current?.showModal();
    return () => {
      if (back instanceof HTMLElement && back.isConnected) back.focus();
    };
  }, []);
  const whys = [...new Set((list.value?.cases ?? []).map((x) => x.asideReason ?? '').filter(Boolean))];
  return (
    <dialog ref={ref} aria-labelledby="aside-h" onClose={close}>
      <form
        class="stack"
        onSubmit={(e) => {
          e.preventDefault();
          void save
            .run(async () => {
              const until = after ? morning(after) : fromDate(date);
              if (!until) throw new FormError('until_time', say('Choose the day on which it comes back.'));
              const answer = await ask<SetCaseAsideResponseJson>('POST', `/v1/${c.name}:setAside`, {
                untilTime: until.toISOString(),
                reason: reason.trim(),
              });
              if (!answer.case) return;
              seen(answer.case);
              undoable.value = answer.case;
              done(answer.case);
              close();
            })
            .catch(() => undefined);
        }}
      >
        <h2 id="aside-h">{say('Set {animal} aside', { animal: animalName(c) })}</h2>
        <fieldset class="field">
          <legend>{say('Until when?')}</legend>
          <div class="stack tight">
            {days.map((x) => (
              <label key={x.after}>
                <input type="radio" name="until" checked={after === x.after} onChange={() => setAfter(x.after)} />
                <span>
                  {x.label}
                  <span class="muted">, {day(morning(x.after).toISOString())}</span>
                </span>
              </label>
            ))}
            <label>
              <input type="radio" name="until" checked={after === 0} onChange={() => setAfter(0)} />
              <span>{say('On another day')}</span>
            </label>
          </div>
        </fieldset>
        {after === 0 && (
          <Field
            label={say('The day')}
            type="date"
            value={date}
            onInput={setDate}
            error={problem(save.error, 'until_time')}
          />
        )}
        <Field
          label={say('What does it wait for?')}
          value={reason}
          onInput={setReason}
          maxLength={200}
          list="aside-whys"
          error={problem(save.error, 'reason')}
          hint={say('For you and your people only.')}
        />
        <datalist id="aside-whys">
          {whys.map((w) => (
            <option key={w} value={w} />
          ))}
        </datalist>
        <p class="muted">
          {say('It comes back before that when the keeper writes, or when it becomes one to step into.')}
        </p>
        <Problem error={save.error} shown={after === 0 ? ['until_time', 'reason'] : ['reason']} />
        <div class="actions">
          <Button kind="main" type="submit" icon="clock" busy={save.busy}>
            {say('Set it aside')}
          </Button>
          <Button onClick={() => ref.current?.close()}>{say('Cancel')}</Button>
        </div>
      </form>
    </dialog>
  );
}

/** Says what was set aside, and takes it back. */
export function Undo(): JSX.Element | null {
  const c = undoable.value;
  const save = useSave();
  if (!c) return null;
  return (
    <Notice
      kind="good"
      live
      title={say('{animal} is set aside until {day}', { animal: animalName(c), day: day(c.asideTime ?? '') })}
    >
      <Problem error={save.error} />
      <div class="actions">
        <Button busy={save.busy} onClick={() => void save.run(() => takeBack(c))}>
          {say('Undo')}
        </Button>
        <Button
          kind="quiet"
          onClick={() => {
            undoable.value = undefined;
          }}
        >
          {say('Close')}
        </Button>
      </div>
    </Notice>
  );
}

/** On the case's own screen: that it is aside. */
export function IsAside({ c, again }: { c: CaseJson; again: () => void }): JSX.Element | null {
  const save = useSave();
  if (!isAside(c, new Date())) return null;
  return (
    <Notice title={say('Set aside until {day}', { day: day(c.asideTime ?? '') })}>
      <p>{c.asideReason}</p>
      <Problem error={save.error} />
      <div class="actions">
        <Button busy={save.busy} onClick={() => void save.run(() => takeBack(c)).then((ok) => ok && again())}>
          {say('Back onto the list')}
        </Button>
      </div>
    </Notice>
  );
}

/** Who of the breeder's people sees to it. A name and nothing more: it opens and closes nothing to anybody. */
export function LookedAfter({ c, again }: { c: CaseJson; again: () => void }): JSX.Element {
  const [by, setBy] = useState(c.lookedAfterBy ?? '');
  const [open, setOpen] = useState(false);
  const save = useSave();
  const people = useLoad(open ? 'people' : '', async (signal) => (open ? loadPeople(signal) : undefined));
  const names = [
    ...new Set([...(people.data?.people ?? []).map((p) => p.displayName ?? ''), ...lookers(list.value?.cases ?? [])]),
  ];
  const mine = me.value?.userName ?? '';
  if (!open) {
    return (
      <div class="row">
        <span class="muted">
          {c.lookedAfterBy
            ? say('Looked after by {lookedAfterBy}', { lookedAfterBy: c.lookedAfterBy })
            : say('Looked after by whoever comes')}
        </span>
        <Button kind="quiet" onClick={() => setOpen(true)}>
          {say('Change')}
        </Button>
      </div>
    );
  }
  return (
    <form
      class="stack"
      onSubmit={(e) => {
        e.preventDefault();
        void save
          .run(async () => {
            const answer = await ask<LookAfterCaseResponseJson>('POST', `/v1/${c.name}:lookAfter`, {
              lookedAfterBy: by.trim(),
            });
            if (answer.case) seen(answer.case);
          })
          .then((ok) => {
            if (!ok) return;
            setOpen(false);
            again();
          });
      }}
    >
      <Field
        label={say('Looked after by')}
        value={by}
        onInput={setBy}
        maxLength={60}
        list="lookers"
        error={problem(save.error, 'looked_after_by')}
        hint={say('A name as you call each other; empty: whoever comes. Everybody of yours still sees the case.')}
      />
      <datalist id="lookers">
        {names.map((n) => (
          <option key={n} value={n} />
        ))}
      </datalist>
      {mine && by !== mine && (
        <div class="row">
          <Button onClick={() => setBy(mine)}>{say('That is me, {mine}', { mine })}</Button>
        </div>
      )}
      <Problem error={save.error} shown={['looked_after_by']} />
      <div class="actions">
        <Button kind="main" type="submit" busy={save.busy}>
          {say('Save')}
        </Button>
        <Button onClick={() => setOpen(false)}>{say('Cancel')}</Button>
      </div>
    </form>
  );
}

/** The names that are in use, in order. */
export function lookers(cases: readonly CaseJson[]): string[] {
  return [...new Set(cases.map((c) => c.lookedAfterBy ?? '').filter(Boolean))].sort((a, b) => a.localeCompare(b));
}
