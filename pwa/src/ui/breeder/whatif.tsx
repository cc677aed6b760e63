import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import { withQuery } from '../../api/client';
import type { CaseJson, ProbeCaseResponseJson, ProbeJson } from '../../api/gen/warmhand/v1/case_service_pb';
import { say } from '../../core/say';
import { settings } from '../../core/settings';
import { formatNumber, parseMass, parseTemp } from '../../core/units';
import { ifSentence } from '../../core/words';
import { Button, Field } from '../parts/controls';
import { Standing } from '../parts/standing';
import { FormError, problem, rest, useLoad, useSave } from './hooks';
import { ask } from './session';

const things = [
  { value: 'eats', label: say('It eats') },
  { value: 'refuses', label: say('It refuses') },
  { value: 'weighs', label: say('It weighs …') },
  { value: 'warm', label: say('The warm side is …') },
] as const;

/** A thing to suppose, as the query that asks the service for it. */
export function supposed(what: string, number: string): Record<string, string | number> {
  switch (what) {
    case 'eats':
      return { 'offer.result': 'OFFER_RESULT_EATEN' };
    case 'refuses':
      return { 'offer.result': 'OFFER_RESULT_REFUSED' };
    case 'warm': {
      const c = parseTemp(number);
      if (c === null)
        throw new FormError('number', say('Give a temperature in °{temp}.', { temp: settings.value.temp }));
      return { 'climate.warmC': c, 'climate.takenWith': 'TAKEN_WITH_PROBE' };
    }
    default: {
      const g = parseMass(number);
      if (!g) throw new FormError('number', say('Give a weight in {mass}.', { mass: settings.value.mass }));
      return { 'weighIn.massG': g };
    }
  }
}

/** What would change the case most, and a try of one's own. Nothing of it is saved. */
export function WhatIf({ c }: { c: CaseJson }): JSX.Element {
  const path = `/v1/${c.name}:probe`;
  const listed = useLoad(`${c.name} ${c.assessTime}`, (signal) =>
    ask<ProbeCaseResponseJson>('GET', path, undefined, { signal }),
  );
  const [what, setWhat] = useState('eats');
  const [number, setNumber] = useState('');
  const [answer, setAnswer] = useState<ProbeJson>();
  const tried = useSave();
  const unit = what === 'weighs' ? settings.value.mass : what === 'warm' ? `°${settings.value.temp}` : '';
  const probes = listed.data?.probes ?? [];
  return (
    <section class="card stack" aria-labelledby="c-if">
      <h2 id="c-if">{say('What would change it')}</h2>
      {probes.length > 0 && (
        <ul class="list">
          {probes.map((p) => (
            <li key={p.code}>{ifSentence(p)}</li>
          ))}
        </ul>
      )}
      {listed.data && probes.length === 0 && <p>{say('No single thing that could come next would change it much.')}</p>}
      {Boolean(listed.error) && <p class="muted">{rest(listed.error)}</p>}
      <form
        class="stack"
        noValidate
        onSubmit={(e) => {
          e.preventDefault();
          void tried.run(async () => {
            setAnswer(undefined);
            const said = await ask<ProbeCaseResponseJson>('GET', withQuery(path, supposed(what, number)));
            setAnswer(said.probes?.[0]);
          });
        }}
      >
        <Field
          label={say('Suppose')}
          value={what}
          options={things}
          onInput={(v) => {
            setWhat(v);
            setNumber('');
            setAnswer(undefined);
          }}
        />
        {unit && (
          <Field
            label={what === 'weighs' ? say('Weight') : say('Warm side')}
            value={number}
            onInput={setNumber}
            inputMode="decimal"
            unit={unit}
            error={problem(tried.error, 'number', 'what', 'mass_g', 'warm_c')}
          />
        )}
        <Button type="submit" busy={tried.busy}>
          {say('What then?')}
        </Button>
      </form>
      <div role="status">
        {answer && (
          <p>
            <Standing standing={answer.standing} />{' '}
            {say('{sentence} A lasting refusal would be {pRefusal} % likely.', {
              sentence: ifSentence(answer),
              pRefusal: formatNumber(Number(answer.pRefusal ?? 0) * 100),
            })}
          </p>
        )}
        {Boolean(tried.error) && <p class="muted">{rest(tried.error, 'number', 'what', 'mass_g', 'warm_c')}</p>}
      </div>
    </section>
  );
}
