import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import { withQuery } from '../../api/client';
import type { AnimalJson } from '../../api/gen/warmhand/v1/animal_service_pb';
import { idOf } from '../../core/ids';
import { say } from '../../core/say';
import { Button, Field } from '../parts/controls';
import { SavePdf } from '../parts/pdf';
import { SaveSigned } from '../parts/signed';
import { askForExport, askForPdf, breeder } from './session';

/** The card of a handover whose code is on the screen: nobody else knows it. */
export function PrintCard({ handover, code }: { handover: string; code: string }): JSX.Element {
  const [form, setForm] = useState('credit');
  return (
    <SavePdf
      label={say('Print card')}
      name="handover-card"
      main
      fetch={(paper) =>
        askForPdf('POST', `/v1/${breeder()}/cards.pdf`, { form, paper, cards: [{ handover, claimCode: code }] })
      }
    >
      <Field
        label={say('Card')}
        value={form}
        onInput={setForm}
        options={[
          { value: 'credit', label: say('Wallet size, to fold') },
          { value: 'a6', label: say('A6 (105 × 148 mm)') },
        ]}
      />
    </SavePdf>
  );
}

/** The record, as the keeper gets it. */
export function PrintRecord({ handover }: { handover: string }): JSX.Element {
  return (
    <>
      <SavePdf
        label={say('Print record')}
        name="handover-record"
        fetch={(paper) => askForPdf('GET', withQuery(`/v1/${handover}/record.pdf`, { paper }))}
      />
      <SaveSigned fetch={() => askForExport('application/jose', `/v1/${handover}/record.jws`)} />
    </>
  );
}

/** The service prints so many labels at once. */
const most = 100;

/** The stock book as a list to choose from, for the labels of tubs. */
export function ChooseLabels({
  animals,
  line,
  done,
}: {
  animals: AnimalJson[];
  /** What tells an animal from its neighbours, besides its label. */
  line: (a: AnimalJson) => string;
  done: () => void;
}): JSX.Element {
  const [chosen, setChosen] = useState<ReadonlySet<string>>(new Set());
  const set = (id: string, on: boolean) => {
    const next = new Set(chosen);
    if (on) next.add(id);
    else next.delete(id);
    setChosen(next);
  };
  const shown = animals.map((a) => idOf(a.name));
  const all = shown.length > 0 && shown.every((id) => chosen.has(id));
  const many = chosen.size > most;
  return (
    <section class="stack" aria-labelledby="labels-h">
      <h2 id="labels-h">{say('Labels for tubs')}</h2>
      <fieldset class="stack">
        <legend class="ear">{say('Animals')}</legend>
        <div class="choices down">
          <label>
            <input
              type="checkbox"
              checked={all}
              onChange={(e) => {
                const on = e.currentTarget.checked;
                setChosen(
                  on ? new Set([...chosen, ...shown]) : new Set([...chosen].filter((id) => !shown.includes(id))),
                );
              }}
            />
            {say('All that are shown')}
          </label>
          {animals.map((a) => {
            const id = idOf(a.name);
            return (
              <label key={id}>
                <input type="checkbox" checked={chosen.has(id)} onChange={(e) => set(id, e.currentTarget.checked)} />
                <span>
                  {a.displayName || say('No label')} <span class="muted">{line(a)}</span>
                </span>
              </label>
            );
          })}
        </div>
      </fieldset>
      <p role="status">
        {say({ one: '1 animal chosen.', other: '{n} animals chosen.' }, { n: chosen.size })}{' '}
        {many && say('At most {most} labels are printed at once: take some out.', { most })}
      </p>
      <SavePdf
        label={say('Print labels')}
        name="labels"
        main
        disabled={chosen.size === 0 || many}
        fetch={(paper) => askForPdf('GET', withQuery(`/v1/${breeder()}/labels.pdf`, { paper, animal: [...chosen] }))}
      />
      <div class="actions">
        <Button onClick={done}>{say('Back to the stock book')}</Button>
      </div>
    </section>
  );
}
