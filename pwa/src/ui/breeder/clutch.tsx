import type { JSX } from 'preact';
import type { StockAnimalJson } from '../../api/gen/warmhand/v1/animal_service_pb';
import { idOf } from '../../core/ids';
import { facts, say } from '../../core/say';
import { ago } from '../../core/time';
import { formatMass, formatNumber } from '../../core/units';
import { Button } from '../parts/controls';
import { sexWord, speciesName } from './animals';
import { useLoad } from './hooks';
import { Heading, Link, Trouble, Waiting } from './nav';
import { ReadyWord } from './ready';
import { species as speciesTable } from './reference';
import { breeder } from './session';
import { choose, everything, loadStock, missing } from './stock';

/** The middle of the weights: half the animals weigh more. */
export function middle(masses: readonly number[]): number {
  const m = [...masses].sort((a, b) => a - b);
  const half = m.length / 2;
  return m.length === 0 ? 0 : ((m[Math.ceil(half) - 1] ?? 0) + (m[Math.floor(half)] ?? 0)) / 2;
}

/** The animals of one clutch beside each other; of those that are away there is no weight. */
export function ClutchPage({ label }: { label: string }): JSX.Element {
  const loaded = useLoad(`stock ${breeder()}`, loadStock);
  const kinds = useLoad('species', () => speciesTable());
  const all = choose(loaded.data ?? [], { ...everything, where: 'all', clutch: label, order: 'heaviest' });
  const masses = all.flatMap((s) => (s.massG ? [Number(s.massG)] : []));
  const mid = middle(masses);
  const most = Math.max(...masses, 1);
  const parents = (field: 'mother' | 'father') => [...new Set(all.flatMap((s) => s.animal?.[field] || []))];
  const name = (n: string) => loaded.data?.find((s) => s.animal?.name === n)?.animal?.displayName || say('No label');
  return (
    <main class="page">
      <Heading>{say('Clutch {label}', { label })}</Heading>
      {Boolean(loaded.error) && <Trouble error={loaded.error} again={loaded.again} />}
      {!loaded.data && !loaded.error && <Waiting />}
      {loaded.data && all.length === 0 && (
        <p class="muted">{say('No animal of the stock book has this clutch label.')}</p>
      )}
      {all.length > 0 && (
        <>
          <dl class="facts">
            {(['mother', 'father'] as const).map((field) => {
              const who = parents(field);
              return (
                who.length > 0 && (
                  <div key={field}>
                    <dt>{field === 'mother' ? say('Mother') : say('Father')}</dt>
                    <dd>
                      {who.map((n, i) => (
                        <span key={n}>
                          {i > 0 && ', '}
                          <Link to={`/b/animals/${idOf(n)}`}>{name(n)}</Link>
                        </span>
                      ))}
                    </dd>
                  </div>
                )
              );
            })}
            <div>
              <dt>{say('Animals')}</dt>
              <dd>{formatNumber(all.length)}</dd>
            </div>
            {masses.length > 1 && (
              <div>
                <dt>{say('Middle of the weights')}</dt>
                <dd>{formatMass(mid)}</dd>
              </div>
            )}
          </dl>
          <ul class="list stock">
            {all.map((s) => (
              <Sibling key={s.animal?.name} s={s} mid={masses.length > 1 ? mid : 0} most={most} />
            ))}
          </ul>
          <p class="muted">
            {say('{species}. Weights as last taken here.', {
              species: [...new Set(all.map((s) => speciesName(kinds.data, s.animal?.species)))].join(', '),
            })}
          </p>
        </>
      )}
      <div class="actions">
        <Link to="/b/animals" class="button">
          {say('To the stock book')}
        </Link>
        {Boolean(loaded.data) && <Button onClick={loaded.again}>{say('Look again')}</Button>}
      </div>
    </main>
  );
}

function Sibling({ s, mid, most }: { s: StockAnimalJson; mid: number; most: number }): JSX.Element {
  const a = s.animal ?? {};
  const g = Number(s.massG ?? 0);
  return (
    <li>
      <Link to={`/b/animals/${idOf(a.name)}`}>
        <strong>{a.displayName || say('No label')}</strong>
        <ReadyWord of={s} />
        {g > 0 && (
          <span>
            {facts(
              formatMass(g),
              ago(s.weighTime),
              mid > 0 && say('{percent} % of the middle', { percent: formatNumber((100 * g) / mid) }),
            )}
          </span>
        )}
        <span class="muted">{facts(sexWord(a.sex), (a.genes ?? []).join(', '))}</span>
        {g > 0 && (
          <span class="share" aria-hidden="true">
            <span style={{ inlineSize: `${(100 * g) / most}%` }} />
          </span>
        )}
        {!s.away && s.readiness && !s.readiness.ready && (
          <span class="why">{say('Missing: {missing}.', { missing: missing(s.readiness.points) })}</span>
        )}
      </Link>
    </li>
  );
}
