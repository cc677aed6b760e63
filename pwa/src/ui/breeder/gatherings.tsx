import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import type { GatheringJson, ListGatheringsResponseJson } from '../../api/gen/warmhand/v1/case_service_pb';
import { idOf } from '../../core/ids';
import { say } from '../../core/say';
import { Button, Notice } from '../parts/controls';
import { animalName } from './cases';
import { useLoad } from './hooks';
import { Link } from './nav';
import { ask, breeder } from './session';

const hiddenKey = 'warmhand.breeder.gatherings';

/** A gathering is another one once another animal is in it. */
export function gatheringId(g: GatheringJson): string {
  return [g.clutch, g.showDay, ...(g.cases ?? []).map((c) => idOf(c.name)).sort()].join(' ');
}

function hidden(): string[] {
  try {
    const was: unknown = JSON.parse(localStorage.getItem(hiddenKey) ?? '[]');
    return Array.isArray(was) ? was.map(String) : [];
  } catch {
    return [];
  }
}

/** Says quietly where refusals gather. Hidden ones stay hidden on this device until an animal is added to them. */
export function Gatherings(): JSX.Element {
  // Once an hour is often enough: it takes refusals on two days.
  const loaded = useLoad(`${breeder()} ${new Date().toISOString().slice(0, 13)}`, (signal) =>
    ask<ListGatheringsResponseJson>('GET', `/v1/${breeder()}/gatherings`, undefined, { signal }),
  );
  const [gone, setGone] = useState(hidden);
  const hide = (id: string) => {
    const all = [...gone, id].slice(-100);
    setGone(all);
    try {
      localStorage.setItem(hiddenKey, JSON.stringify(all));
    } catch {
      // It holds for this visit.
    }
  };
  const shown = (loaded.data?.gatherings ?? []).filter((g) => !gone.includes(gatheringId(g)));
  return (
    <>
      {shown.map((g) => (
        <Notice key={gatheringId(g)} title={say('Refusals gather')}>
          <p>{g.text}</p>
          <ul class="list">
            {g.cases?.map((c) => (
              <li key={c.name}>
                <Link to={`/b/cases/${idOf(c.name)}`}>{animalName(c)}</Link>
              </li>
            ))}
          </ul>
          <details>
            <summary>{say('What this takes for granted')}</summary>
            <p>{g.assumes}</p>
          </details>
          <Button kind="quiet" onClick={() => hide(gatheringId(g))}>
            {say('Hide on this device')}
          </Button>
        </Notice>
      ))}
    </>
  );
}
