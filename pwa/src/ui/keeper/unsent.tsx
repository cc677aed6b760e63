import type { JSX } from 'preact';
import type { CaseJson } from '../../core/contract';
import { caseAddress } from '../../core/ids';
import { facts, say } from '../../core/say';
import { ago } from '../../core/time';
import { entryLine } from '../../core/words';
import type { Item } from '../../store/db';
import { hurry } from '../../store/outbox';
import { part, phase, syncNow } from '../../sync/sync';
import { Link, Screen } from '../nav';
import { Button, Notice } from '../parts/controls';
import { Refused } from '../parts/refused';
import { animalName, known, load } from './state';

export default function Unsent(): JSX.Element {
  const items = (known.value?.outbox ?? []).filter((i) => !i.entry?.seen);
  const dead = items.filter((i) => i.state === 'dead');
  const waiting = items.filter((i) => i.state === 'queued');
  const caseOf = (i: Item) => known.value?.cases.find((c) => c.name === i.case);
  return (
    <Screen title={say('On this phone, not sent yet')} back="/">
      {items.length === 0 && (
        <Notice kind="good" live>
          <p>{say('Everything has been sent. Nothing is only on this phone.')}</p>
        </Notice>
      )}
      {dead.length > 0 && (
        <section class="stack" aria-labelledby="needs">
          <h2 id="needs">{say('Needs you')}</h2>
          {dead.map((i) => (
            <Refused
              key={i.seq}
              item={i}
              what={what(i)}
              whose={animalNameOf(caseOf(i))}
              done={() => void load().then(syncNow)}
              change={mayChange(i) && changeLink(caseOf(i), i)}
            />
          ))}
        </section>
      )}
      {waiting.length > 0 && (
        <section aria-labelledby="waits">
          <h2 id="waits">{say('Waits for network')}</h2>
          <ul class="list">
            {waiting.map((i) => (
              <li key={i.seq}>
                {what(i)}
                <span class="muted block">
                  {facts(
                    animalNameOf(caseOf(i)),
                    say('saved {ago}', { ago: ago(new Date(i.savedAt).toISOString()) }),
                    part.value?.id === i.id && say('{percent} % sent', { percent: Math.round(100 * part.value.part) }),
                    i.tries > 0 && say({ one: 'tried once', other: 'tried {n} times' }, { n: i.tries }),
                  )}
                </span>
                {i.after.some((id) => dead.some((d) => d.id === id)) && (
                  <span class="block">{say('It waits for what needs you above.')}</span>
                )}
              </li>
            ))}
          </ul>
        </section>
      )}
      <p class="muted">
        {'sync' in ServiceWorkerRegistration.prototype
          ? say('It is sent by itself when there is network, even when the app is closed.')
          : say('It is sent when the app is open and there is network. So open the app now and then.')}
      </p>
      {waiting.length > 0 && (
        <div class="actions foot">
          <Button kind="main" busy={phase.value === 'sending'} onClick={() => void hurry().then(syncNow)}>
            {say('Send now')}
          </Button>
        </div>
      )}
    </Screen>
  );
}

function what(i: Item): string {
  return i.entry ? entryLine(i.entry, { signs: known.value?.signs, points: known.value?.points }) : say('A picture');
}

function animalNameOf(c: CaseJson | undefined): string {
  return c ? animalName(c) : say('Not on this phone any more');
}

function mayChange({ entry: e }: Item): boolean {
  return Boolean(e && (e.offer || e.weighIn || e.climate || e.shed || e.sign));
}

function changeLink(c: CaseJson | undefined, item: Item): JSX.Element | undefined {
  return (
    c && (
      <Link to={caseAddress(c.name ?? '', `history/${item.id}/change`)} class="button">
        {say('Change it')}
      </Link>
    )
  );
}
