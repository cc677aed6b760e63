// Runs: a pass through the animals, rack by rack, with one thing logged of each; with or without network.

import type { JSX } from 'preact';
import { useMemo, useState } from 'preact/hooks';
import { done, type Run } from '../../core/run';
import { say } from '../../core/say';
import { ThermalBand } from '../parts/band';
import { Button, Field } from '../parts/controls';
import { Icon } from '../parts/icons';
import FeedRun from './feedrun';
import { useLoad } from './hooks';
import { AsOf, Heading, Link, Problem, Trouble, Waiting } from './nav';
import { type Book, keptRun, useRunning } from './running';
import { forRun, type RunChoice, type RunKind, racks } from './stock';
import WeighRun from './weighrun';

const titles: Record<RunKind, string> = { weigh: say('Weigh-in run'), feed: say('Feeding run') };
export default function RunsPage({ kind }: { kind: string }): JSX.Element {
  return kind === 'weigh' || kind === 'feed' ? <RunPage key={kind} kind={kind} /> : <Both />;
}

function Both(): JSX.Element {
  const kept = useLoad('runs', async () => ({ weigh: await keptRun('weigh'), feed: await keptRun('feed') }));
  const state = (r: Run | undefined) =>
    r && <p class="muted">{say('{done} of {n} done: go on', { done: done(r), n: r.names.length })}</p>;
  return (
    <main class="page narrow">
      <Heading>{say('Runs')}</Heading>
      <p>
        {say(
          'Through the racks in one pass, tub after tub. Each works without network, and goes on where you stopped.',
        )}
      </p>
      <Link to="/b/runs/weigh" class="card next">
        <strong class="row">
          <Icon name="scale" />
          {titles.weigh}
        </strong>
        <p>{say('A number for each animal; a slip is caught before it counts.')}</p>
        {state(kept.data?.weigh)}
      </Link>
      <Link to="/b/runs/feed" class="card next">
        <strong class="row">
          <Icon name="meal" />
          {titles.feed}
        </strong>
        <p>{say('One tap for each animal, with what it eats filled in.')}</p>
        {state(kept.data?.feed)}
      </Link>
    </main>
  );
}

function RunPage({ kind }: { kind: RunKind }): JSX.Element {
  const { loaded, run, begin, end, ...doing } = useRunning(kind);
  const d = loaded.data;
  if (!d) {
    return (
      <main class="page narrow">
        <Heading>{titles[kind]}</Heading>
        {loaded.error ? <Trouble error={loaded.error} again={loaded.again} /> : <Waiting />}
      </main>
    );
  }
  if (!run) {
    return <Begin kind={kind} book={d.book} again={loaded.again} begin={begin} />;
  }
  const ended = (
    <div class="actions">
      <Button kind={run.at ? 'quiet' : run.skipped.length > 0 ? 'plain' : 'main'} onClick={end}>
        {run.at ? say('End this run') : say('Done')}
      </Button>
    </div>
  );
  return (
    <main class={`page run ${kind}`}>
      <div>
        <p class="muted">
          {say('{titles}, {done} of {n}', { titles: titles[kind], done: done(run), n: run.names.length })}
        </p>
        <ThermalBand
          at={(done(run) + run.skipped.length) / Math.max(1, run.names.length)}
          label={say('{titles}, how far it has come', { titles: titles[kind] })}
        />
      </div>
      <Problem error={doing.error} />
      {kind === 'weigh' ? <WeighRun {...doing} run={run} /> : <FeedRun {...doing} run={run} />}
      {ended}
    </main>
  );
}

/** Which animals, before it begins. */
function Begin({
  kind,
  book,
  again,
  begin,
}: {
  kind: RunKind;
  book: Book;
  again: () => void;
  begin: (names: string[]) => void;
}): JSX.Element {
  const here = useMemo(() => book.animals.filter((s) => !s.away), [book]);
  const of = (c: RunChoice) => forRun(here, kind, c);
  const [c, setChoice] = useState<RunChoice>(() => {
    const due = kind === 'feed' && of({ rack: '', due: 1 }).length > 0;
    return { rack: '', due: due ? 1 : 0 };
  });
  const chosen = of(c);
  const dues: [number, string][] =
    kind === 'feed'
      ? [
          [1, say('Due today')],
          [0, say('All')],
        ]
      : [
          [0, say('All')],
          [7, say('Not weighed for a week')],
          [14, say('Not weighed for two weeks')],
          [30, say('Not weighed for a month')],
        ];
  const all = racks(here);
  return (
    <main class="page narrow">
      <Heading>{titles[kind]}</Heading>
      {book.at !== undefined && <AsOf at={book.at} again={again} />}
      <p>
        {kind === 'weigh'
          ? say(
              'One animal after another, in the order of their places. Each weight is kept at once, and the last ones can be taken back.',
            )
          : say(
              'Tub after tub, in the order of their places. What an animal ate last stands there; one tap says whether it took it.',
            )}
      </p>
      <Field
        label={say('Which animals')}
        value={String(c.due)}
        onInput={(v) => setChoice({ ...c, due: Number(v) })}
        options={dues.map(([due, word]) => ({ value: String(due), label: `${word} (${of({ ...c, due }).length})` }))}
      />
      {all.length > 0 && (
        <Field
          label={say('Rack')}
          value={c.rack}
          onInput={(rack) => setChoice({ ...c, rack })}
          options={[
            { value: '', label: say('Any ({n})', { n: of({ ...c, rack: '' }).length }) },
            ...all.map((rack) => ({ value: rack, label: `${rack} (${of({ ...c, rack }).length})` })),
          ]}
        />
      )}
      {kind === 'feed' && (
        <p class="hint">
          {say(
            'Due by the days between meals that are usual for its species and size, a week after a refusal, and two after food came up.',
          )}
        </p>
      )}
      <div class="actions">
        <Button
          kind="main"
          icon={kind === 'weigh' ? 'scale' : 'meal'}
          disabled={chosen.length === 0}
          onClick={() => begin(chosen.flatMap((s) => s.animal?.name ?? []))}
        >
          {chosen.length === 0
            ? say('No animal to begin with')
            : say({ one: 'Begin with 1 animal', other: 'Begin with {n} animals' }, { n: chosen.length })}
        </Button>
      </div>
    </main>
  );
}
