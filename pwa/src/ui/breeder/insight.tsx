import type { JSX } from 'preact';
import { useId, useState } from 'preact/hooks';
import type { GetInsightResponseJson, MealWaitJson, ShareJson } from '../../api/gen/warmhand/v1/insight_service_pb';
import { say } from '../../core/say';
import { Notice } from '../parts/controls';
import { Table } from '../parts/table';
import { DayPlot } from './dayplot';
import { useLoad } from './hooks';
import { Heading, Trouble, Waiting } from './nav';
import { lessons } from './return';
import { ask, breeder } from './session';
import { daysText, type Meal, medianText, type Side, shareText, shown, waitPlot, waitSize } from './waiting';

/** Fewer sales than this say nothing that a person could not see. */
const least = 5;

/** Heads that cells say again on a phone. */
const heads = {
  with: say('Trouble with it'),
  without: say('Without it'),
  chance: say('Chance alone'),
  homes: say('Homes'),
  righted: say('Put right'),
  within: say('Half of them within'),
  warned: say('With a warning before'),
  early: say('How early'),
  animals: say('Animals'),
  ate: say('Ate'),
  half: say('Half by day'),
  by: [
    [14, say('By day 14')],
    [30, say('By day 30')],
    [60, say('By day 60')],
  ] as const,
};

/** What all sales together show, so that the next handover is better. */
export function InsightPage(): JSX.Element {
  const loaded = useLoad(`insight ${breeder()}`, async (signal) => {
    const answer = await ask<GetInsightResponseJson>('GET', `/v1/${breeder()}/insight`, undefined, { signal });
    return answer.insight ?? {};
  });
  const all = loaded.data;
  return (
    <main class="page insight">
      <Heading>{say('What your sales show')}</Heading>
      {Boolean(loaded.error) && <Trouble error={loaded.error} again={loaded.again} />}
      {!all && !loaded.error && <Waiting />}
      {all && (all.sales ?? 0) < least && (
        <Notice title={say('Too few yet')}>
          <p>
            {say('{sales} of your sales have been taken on by a keeper. From {least} on there is something to count.', {
              sales: all.sales ?? 0,
              least,
            })}
          </p>
        </Notice>
      )}
      {all && (all.sales ?? 0) >= least && (
        <>
          <p>
            {all.leftOut
              ? say(
                  'Counted from the logs of the {sales} sales that a keeper took on (the latest; {n} older ones are left out). An animal counts for as long as something was heard of it.',
                  { sales: all.sales, n: all.leftOut },
                )
              : say(
                  'Counted from the logs of the {sales} sales that a keeper took on. An animal counts for as long as something was heard of it.',
                  { sales: all.sales },
                )}
          </p>
          <Wait title={say('Days to the first meal')} meal="first" wait={all.firstMeal ?? {}} />
          <Wait title={say('Days to the third meal')} meal="third" wait={all.thirdMeal ?? {}} />
          <section class="card stack" aria-labelledby="i-before">
            <h2 id="i-before">{say('What came before trouble')}</h2>
            <p>
              {say(
                'Found in the first two weeks, and how many of those animals later stopped eating, lost weight, fell ill or came back. It shows what goes together, and not what causes what.',
              )}
            </p>
            {(all.preceding ?? []).length === 0 ? (
              <p class="muted">{say('Nothing was found often enough to compare.')}</p>
            ) : (
              <Table
                label={say('What came before trouble, as a table')}
                laid
                heads={[say('Found early'), heads.with, heads.without, heads.chance]}
              >
                {all.preceding?.map((p) => (
                  <tr key={p.concern}>
                    <th scope="row">{p.name}</th>
                    <td data-head={heads.with}>{shareText(p.with)}</td>
                    <td data-head={heads.without}>{shareText(p.without)}</td>
                    <td data-head={heads.chance}>{chanceText(Number(p.chance))}</td>
                  </tr>
                ))}
              </Table>
            )}
          </section>
          {(all.lessons ?? []).length > 0 && (
            <section class="card stack" aria-labelledby="i-lessons">
              <h2 id="i-lessons">{say('What you learned when they came back')}</h2>
              <Table label={say('What you learned, as a table')} heads={[say('What'), say('Of those that came back')]}>
                {all.lessons?.map((l) => (
                  <tr key={l.code}>
                    <th scope="row">{lessons.find(({ code }) => code === l.code)?.label ?? l.code}</th>
                    <td>
                      <Bar share={l.cases} />
                    </td>
                  </tr>
                ))}
              </Table>
            </section>
          )}
          <section class="card stack" aria-labelledby="i-home">
            <h2 id="i-home">{say('What comes up in homes')}</h2>
            {(all.home ?? []).length === 0 ? (
              <p class="muted">{say('Nothing so far.')}</p>
            ) : (
              <Table
                label={say('What comes up in homes, as a table')}
                laid
                heads={[say('What'), heads.homes, heads.righted, heads.within]}
              >
                {all.home?.map((f) => (
                  <tr key={f.concern}>
                    <th scope="row">{f.name}</th>
                    <td data-head={heads.homes}>
                      <Bar share={f.cases} />
                    </td>
                    <td data-head={heads.righted}>{f.righted ?? 0}</td>
                    <td data-head={heads.within}>{f.days === undefined ? '–' : daysText(Number(f.days))}</td>
                  </tr>
                ))}
              </Table>
            )}
          </section>
          <Warnings harmed={all.harmed} ahead={all.daysAhead} calm={all.calm} />
        </>
      )}
    </main>
  );
}

function Warnings({
  harmed,
  ahead,
  calm,
}: {
  harmed: ShareJson | undefined;
  ahead: number | 'NaN' | 'Infinity' | '-Infinity' | undefined;
  calm: ShareJson | undefined;
}): JSX.Element {
  return (
    <section class="card stack" aria-labelledby="i-warn">
      <h2 id="i-warn">{say('How the warnings did')}</h2>
      {!harmed?.of && !calm?.of ? (
        <p class="muted">{say('No follow-up has ended yet, so nobody can say which warnings were right.')}</p>
      ) : (
        <Table
          label={say('How the warnings did, as a table')}
          laid
          heads={[say('Follow-ups that ended'), heads.warned, heads.early]}
        >
          <tr>
            <th scope="row">{say('badly: returned, at the vet, died')}</th>
            <td data-head={heads.warned}>{shareText(harmed)}</td>
            <td data-head={heads.early}>
              {ahead === undefined
                ? '–'
                : say('half of them {daysText} before or more', { daysText: daysText(Number(ahead)) })}
            </td>
          </tr>
          <tr>
            <th scope="row">{say('settled')}</th>
            <td data-head={heads.warned}>{shareText(calm)}</td>
            <td data-head={heads.early}>–</td>
          </tr>
        </Table>
      )}
      <p class="muted">
        {say(
          'A warning is the first time the list said that you should step in for the animal itself. A warned animal that settled may have settled because you stepped in.',
        )}
      </p>
    </section>
  );
}

/** How likely so great a difference is where there is none. */
function chanceText(p: number | undefined): string {
  if (p === undefined || Number.isNaN(p)) return say('too little to tell');
  if (p < 0.001) return say('less than 1 in 1000');
  if (p > 0.2) return say('explains it well');
  return say('1 in {n}', { n: Math.round(1 / p) });
}

const byWords: Record<string, string> = {
  species: say('By species'),
  age: say('By age at the handover'),
  prey: say('By what it ate before'),
  clutch: say('By clutch'),
  show_day: say('By show day'),
};

function Wait({ title, meal, wait }: { title: string; meal: Meal; wait: MealWaitJson }): JSX.Element {
  const id = useId();
  const [by, setBy] = useState('');
  const split = wait.splits?.find((s) => s.by === by);
  const sides: Side[] = split
    ? (split.groups ?? []).map((g) => ({ name: g.name ?? '', curve: g.curve ?? {} }))
    : [{ name: say('All'), curve: wait.all ?? {} }];
  return (
    <section class="card stack" aria-labelledby={id}>
      <h2 id={id}>{title}</h2>
      <p class="finding">{medianText(wait.all ?? {}, meal)}</p>
      {(wait.splits ?? []).length > 0 && (
        <div class="field">
          <label for={`${id}-by`}>{say('Side by side')}</label>
          <select id={`${id}-by`} value={by} onChange={(e) => setBy(e.currentTarget.value)}>
            <option value="">{say('All together')}</option>
            {wait.splits?.map((s) => (
              <option key={s.by} value={s.by}>
                {byWords[s.by ?? ''] ?? s.by}
              </option>
            ))}
          </select>
        </div>
      )}
      <WaitPicture sides={sides} />
      {split && (
        <p>
          {[
            say('Chance alone, were they all alike: {chance}.', {
              chance: chanceText(split.chance === undefined ? undefined : Number(split.chance)),
            }),
            split.leftOut && say('{n} sales are in none of these groups.', { n: split.leftOut }),
          ]
            .filter(Boolean)
            .join(' ')}
        </p>
      )}
      <Table
        label={say('{title}, as a table', { title })}
        laid
        heads={[say('Which'), heads.animals, heads.ate, heads.half, ...heads.by.map(([, head]) => head)]}
      >
        {sides.map((s) => (
          <tr key={s.name}>
            <th scope="row">{s.name}</th>
            <td data-head={heads.animals}>{s.curve.animals ?? 0}</td>
            <td data-head={heads.ate}>{s.curve.ate ?? 0}</td>
            <td data-head={heads.half}>{s.curve.median === undefined ? '–' : Number(s.curve.median)}</td>
            {heads.by.map(([d, head]) => (
              <td key={d} data-head={head}>
                {shown(s.curve, d)}
              </td>
            ))}
          </tr>
        ))}
      </Table>
    </section>
  );
}

function WaitPicture({ sides }: { sides: Side[] }): JSX.Element {
  return (
    <DayPlot name="wait" size={waitSize} plot={(width) => waitPlot(sides, width)}>
      {(p) => (
        <>
          {sides.length === 1 && <path class="interval" d={p.interval} />}
          {p.lines.map((l, i) => (
            <g key={l.name} class={`side side-${i}`}>
              <path d={l.path} />
              {sides.length > 1 && (
                <text x={l.end + 6} y={l.label + 5}>
                  {l.name}
                </text>
              )}
            </g>
          ))}
        </>
      )}
    </DayPlot>
  );
}

function Bar({ share }: { share: ShareJson | undefined }): JSX.Element {
  const part = share?.of ? (share.count ?? 0) / share.of : 0;
  return (
    <span class="portion" style={{ '--part': `${Math.round(part * 100)}%` }}>
      {shareText(share)}
    </span>
  );
}
