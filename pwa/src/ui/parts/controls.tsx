import type { ComponentChildren, JSX } from 'preact';
import { useId, useState } from 'preact/hooks';
import { say } from '../../core/say';
import { Icon, type IconName } from './icons';

export interface ButtonProps extends Omit<JSX.IntrinsicElements['button'], 'icon' | 'class'> {
  /** main: the one next thing on a screen. */
  kind?: 'main' | 'plain' | 'quiet' | 'danger' | undefined;
  icon?: IconName | undefined;
  /** Waiting for an answer: cannot be pressed again, and says so. */
  busy?: boolean | undefined;
  children?: ComponentChildren;
}

export function Button({ kind = 'plain', icon, busy, children, type, disabled, ...rest }: ButtonProps): JSX.Element {
  return (
    <button
      {...rest}
      type={type ?? 'button'}
      class={`button ${kind}`}
      disabled={busy || disabled}
      aria-busy={busy || undefined}
    >
      {icon && <Icon name={icon} />}
      <span>{children}</span>
    </button>
  );
}

export interface FieldProps {
  label: string;
  value: string;
  onInput: (text: string) => void;
  name?: string | undefined;
  type?: 'text' | 'search' | 'date' | 'datetime-local' | 'email' | undefined;
  /** Numbers are text with a decimal keyboard: 12,5 and 12.5 both have to get through. */
  inputMode?: 'text' | 'decimal' | 'numeric' | 'search' | undefined;
  /** Shown after the box, such as g or °C. */
  unit?: string | undefined;
  hint?: ComponentChildren;
  /** What is wrong with it and what to do; undefined when nothing is. */
  error?: string | undefined;
  /** Makes it a choice. */
  options?: readonly { value: string; label: string }[] | undefined;
  /** Makes it a box of so many lines. */
  lines?: number | undefined;
  required?: boolean | undefined;
  disabled?: boolean | undefined;
  maxLength?: number | undefined;
  max?: string | undefined;
  placeholder?: string | undefined;
  autoComplete?: string | undefined;
  /** Ids of suggestions (datalist). */
  list?: string | undefined;
  inputRef?: ((el: HTMLInputElement | null) => void) | undefined;
  /** Hides the label from the eye, not from the ear. */
  labelHidden?: boolean | undefined;
}

/** One labelled box, with its hint and its error tied to it. */
export function Field(p: FieldProps): JSX.Element {
  const id = useId();
  const described = [p.hint ? `${id}-h` : '', p.error ? `${id}-e` : ''].filter(Boolean).join(' ');
  const shared = {
    id,
    name: p.name,
    required: p.required,
    disabled: p.disabled,
    'aria-invalid': p.error ? true : undefined,
    'aria-describedby': described || undefined,
  };
  let box: JSX.Element;
  if (p.options) {
    box = (
      <select {...shared} value={p.value} onChange={(e) => p.onInput(e.currentTarget.value)}>
        {p.options.map((o) => (
          <option key={o.value} value={o.value} selected={o.value === p.value}>
            {o.label}
          </option>
        ))}
      </select>
    );
  } else if (p.lines) {
    box = (
      <textarea
        {...shared}
        rows={p.lines}
        maxLength={p.maxLength}
        placeholder={p.placeholder}
        value={p.value}
        onInput={(e) => p.onInput(e.currentTarget.value)}
      />
    );
  } else {
    box = (
      <input
        {...shared}
        {...(p.inputRef && { ref: p.inputRef })}
        type={p.type ?? 'text'}
        inputMode={p.inputMode}
        maxLength={p.maxLength}
        max={p.max}
        list={p.list}
        placeholder={p.placeholder}
        autoComplete={p.autoComplete ?? 'off'}
        value={p.value}
        onInput={(e) => p.onInput(e.currentTarget.value)}
      />
    );
  }
  return (
    <div class="field">
      <label for={id} class={p.labelHidden ? 'ear' : undefined}>
        {p.label}
      </label>
      <span class="box">
        {box}
        {p.unit && <span class="unit">{p.unit}</span>}
      </span>
      {p.hint && (
        <span class="hint" id={`${id}-h`}>
          {p.hint}
        </span>
      )}
      {p.error && (
        <span class="problem" id={`${id}-e`}>
          <Icon name="warn" />
          {p.error}
        </span>
      )}
    </div>
  );
}

export interface NoticeProps {
  kind?: 'info' | 'good' | 'warn' | 'bad' | undefined;
  title?: ComponentChildren;
  children?: ComponentChildren;
  /** Read out when it appears: `bad` at once, the others when the reader is done. */
  live?: boolean | undefined;
}

const noticeIcons = { info: 'message', good: 'check', warn: 'warn', bad: 'warn' } as const;

export function Notice({ kind = 'info', title, children, live = false }: NoticeProps): JSX.Element {
  return (
    <div class={`notice ${kind}`} role={live ? (kind === 'bad' ? 'alert' : 'status') : undefined}>
      <Icon name={noticeIcons[kind]} />
      <div>
        {title && <p class="title">{title}</p>}
        {children}
      </div>
    </div>
  );
}

/** Why something did not work, and to try once more where that can be done from here. Nothing while there is no text. */
export function Failed({
  text,
  again,
}: {
  text: string | undefined;
  again?: (() => void) | undefined;
}): JSX.Element | null {
  if (!text) return null;
  return (
    <Notice kind="bad" live>
      <p>{text}</p>
      {again && (
        <div class="actions">
          <Button onClick={again}>{say('Try again')}</Button>
        </div>
      )}
    </Notice>
  );
}

/** Copies a text, and says whether it did. */
export function Copy({
  text,
  label,
  otherwise,
}: {
  text: string;
  label: string;
  /** What can be done where the browser refuses. */
  otherwise: string;
}): JSX.Element {
  const [said, setSaid] = useState('');
  const copy = () =>
    navigator.clipboard.writeText(text).then(
      () => setSaid(say('Copied.')),
      () => setSaid(say('This browser did not let us copy. {otherwise}', { otherwise })),
    );
  return (
    <>
      <Button icon="copy" onClick={() => void copy()}>
        {label}
      </Button>
      <span role="status">{said}</span>
    </>
  );
}
