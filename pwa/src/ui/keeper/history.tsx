import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import type { CaseJson, EntryJson } from '../../core/contract';
import { caseAddress, idOf } from '../../core/ids';
import { say } from '../../core/say';
import { entryLine } from '../../core/words';
import type { Line } from '../../store/copies';
import { go, Link, Screen } from '../nav';
import { Button, Failed } from '../parts/controls';
import { TimeLine } from '../parts/timeline';
import { OnPhone } from './home';
import { ClimateForm, OfferForm, ShedForm, SignForm, WeighForm, whenLine } from './log';
import { known, linesOf, save } from './state';

/** History that came along when a keeper passed the animal on. */
function fromEarlier(e: EntryJson): boolean {
  return e.by === 'ACTOR_KIND_KEEPER' && !e.case && Boolean(e.receiveTime);
}

export default function History({ c, rest }: { c: CaseJson; rest: string[] }): JSX.Element {
  const lines = linesOf(c);
  const wanted = rest[0] && lines.find((l) => idOf(l.entry.name) === rest[0]);
  if (wanted) return <One c={c} line={wanted} change={rest[1] === 'change'} />;
  const course = known.value?.courses.get(c.name ?? '');
  const names = { signs: known.value?.signs, points: known.value?.points };
  const byName = new Map(lines.map((l) => [l.entry.name, l]));
  const shown = lines.filter((l) => !l.entry.seen && !l.entry.replacedBy && !l.entry.message);
  const here = shown.filter((l) => l.entry.case);
  const before = shown.filter((l) => !l.entry.case);
  const row = (l: Line) => {
    const corrected = chain(l.entry, byName);
    const line = (
      <span class="grow">
        {l.entry.withdrawal ? <span class="muted">{say('Taken back')}</span> : entryLine(l.entry, names)}
        <span class="muted block">
          {fromEarlier(l.entry)
            ? say('{when}, by an earlier keeper', { when: whenLine(l.entry) })
            : l.entry.by === 'ACTOR_KIND_BREEDER'
              ? say('{when}, by {breeder}', { when: whenLine(l.entry), breeder: c.breederName || say('the breeder') })
              : whenLine(l.entry)}
        </span>
        {l.entry.note && <span class="block">{l.entry.note}</span>}
        {corrected.map((b) => (
          <del key={b.name} class="muted block">
            <span class="ear">{say('Before:')} </span>
            {entryLine(b, names)}, {whenLine(b)}
          </del>
        ))}
      </span>
    );
    const state = l.item && <OnPhone dead={l.item.state === 'dead'} />;
    return (
      <li key={l.entry.name}>
        {mayChange(c, l) ? (
          <Link to={caseAddress(c.name ?? '', `history/${idOf(l.entry.name)}`)} class="entry">
            {line}
            {state}
          </Link>
        ) : (
          <div class="entry">
            {line}
            {state}
          </div>
        )}
      </li>
    );
  };
  return (
    <Screen title={say('Everything so far')} back={caseAddress(c.name ?? '')}>
      {course && (course.days?.length ?? 0) > 0 && <TimeLine course={course} names={names} />}
      <ul class="list">{here.map(row)}</ul>
      {before.length > 0 && (
        <details>
          <summary>{say('Before it came to you ({n})', { n: before.length })}</summary>
          <ul class="list">{before.map(row)}</ul>
        </details>
      )}
      {here.length === 0 && <p class="muted">{say('Nothing has been logged since it came to you.')}</p>}
    </Screen>
  );
}

/** What an entry corrected, newest first. */
function chain(e: EntryJson, byName: Map<string | undefined, Line>): EntryJson[] {
  const out: EntryJson[] = [];
  for (let at = byName.get(e.replaces); e.replaces && at && out.length < 20; at = byName.get(at.entry.replaces)) {
    out.push(at.entry);
    if (!at.entry.replaces) break;
  }
  return out;
}

function mayChange(c: CaseJson, l: Line): boolean {
  const e = l.entry;
  return (
    !c.endTime &&
    e.by === 'ACTOR_KIND_KEEPER' &&
    !fromEarlier(e) &&
    !e.replacedBy &&
    Boolean(e.offer || e.weighIn || e.climate || e.shed || e.sign || e.setup)
  );
}

function One({ c, line, change }: { c: CaseJson; line: Line; change: boolean }): JSX.Element {
  const [asking, setAsking] = useState(false);
  const [error, setError] = useState('');
  const e = line.entry;
  const here = caseAddress(c.name ?? '', `history/${idOf(e.name)}`);
  const back = caseAddress(c.name ?? '', 'history');
  const names = { signs: known.value?.signs, points: known.value?.points };
  if (change) {
    const props = { c, old: { entry: e, ...(line.item?.state === 'dead' && { instead: line.item.seq }) } };
    if (e.offer) return <OfferForm {...props} />;
    if (e.weighIn) return <WeighForm {...props} />;
    if (e.climate) return <ClimateForm {...props} />;
    if (e.shed) return <ShedForm {...props} />;
    if (e.sign) return <SignForm {...props} />;
  }
  const withdraw = async () => {
    try {
      await save({ case: c, entry: { happenTime: new Date().toISOString(), withdrawal: {}, replaces: e.name ?? '' } });
      go(back);
    } catch (x) {
      setError(x instanceof Error ? x.message : String(x));
    }
  };
  const point = e.setup?.answers?.[0]?.point;
  return (
    <Screen title={entryLine(e, names)} back={back}>
      <p class="muted">{whenLine(e)}</p>
      {e.note && <p>{e.note}</p>}
      {line.item && (
        <p>
          <OnPhone dead={line.item.state === 'dead'} />
        </p>
      )}
      <Failed text={error} />
      {mayChange(c, line) && !asking && (
        <div class="actions foot">
          <Link to={point ? caseAddress(c.name ?? '', `setup/${point}`) : `${here}/change`} class="button main">
            {point ? say('Answer it again') : say('Change it')}
          </Link>
          {line.item?.state === 'dead' ? (
            <Link to="/k/unsent" class="button">
              {say('Why it needs you')}
            </Link>
          ) : (
            <Button onClick={() => setAsking(true)}>{say('Take it back')}</Button>
          )}
        </div>
      )}
      {asking && (
        <div class="stack foot">
          <p role="status">
            {say('It will no longer count. In the history it stays as taken back, and {breederName} can see that.', {
              breederName: c.breederName || say('your breeder'),
            })}
          </p>
          <div class="actions">
            <Button kind="main" onClick={() => void withdraw()}>
              {say('Take it back')}
            </Button>
            <Button onClick={() => setAsking(false)}>{say('Keep it')}</Button>
          </div>
        </div>
      )}
    </Screen>
  );
}
