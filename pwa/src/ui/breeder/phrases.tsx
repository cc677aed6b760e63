import type { JSX } from 'preact';
import { useRef, useState } from 'preact/hooks';
import type { GetBreederResponseJson, UpdateBreederResponseJson } from '../../api/gen/warmhand/v1/breeder_service_pb';
import { type Facts, fill, keptPhrase, placeNames, shownPhrase } from '../../core/phrases';
import { say } from '../../core/say';
import { formatMass } from '../../core/units';
import { Button, Field, Notice } from '../parts/controls';
import { problem, useLoad, useSave } from './hooks';
import { Heading, Problem, Trouble, Waiting } from './nav';
import { ask, breeder, isOwner, me } from './session';

const example: Facts = {
  animal: say('Fennel'),
  keeper: say('Jonas'),
  species: say('ball python'),
  day: '12',
  'days since the last meal': '19',
  'last weight': formatMass(92),
  'next step': say('Leave it in peace for 5 days.'),
};

const starters = [
  say('Hello [keeper], leave [animal] in peace for now: no handling, no offers. I look in again.'),
  say(
    '[animal] has not eaten for [days since the last meal] days. At [last weight] that is no reason to worry yet. Next: [next step]',
  ),
  say('Thank you for the picture, [keeper]. That looks right.'),
];

interface Row {
  key: number;
  text: string;
}

export default function PhrasesPage(): JSX.Element {
  const loaded = useLoad(breeder(), (signal) =>
    ask<GetBreederResponseJson>('GET', `/v1/${breeder()}`, undefined, { signal }),
  );
  const b = loaded.data?.breeder;
  return (
    <main class="page">
      <Heading>{say('Your phrases')}</Heading>
      <p>
        {say(
          'What you write often. Beside the message of a case you pick one, see it with the animal’s facts filled in, and change it before it is sent.',
        )}
      </p>
      {b ? (
        <Edit phrases={b.phrases ?? []} />
      ) : loaded.error ? (
        <Trouble error={loaded.error} again={loaded.again} />
      ) : (
        <Waiting />
      )}
    </main>
  );
}

function Edit({ phrases }: { phrases: string[] }): JSX.Element {
  const keys = useRef(0);
  const rowsOf = (list: readonly string[]) =>
    list.map((text): Row => ({ key: keys.current++, text: shownPhrase(text) }));
  const [rows, setRows] = useState<Row[]>(() => rowsOf(phrases));
  const [saved, setSaved] = useState(false);
  const save = useSave();
  const facts = { ...example, breeder: me.value?.userName || me.value?.breederName || say('your name') };
  const owner = isOwner();
  const change = (next: Row[]) => {
    setSaved(false);
    save.clear();
    setRows(next);
  };
  return (
    <form
      class="stack"
      onSubmit={(e) => {
        e.preventDefault();
        void save
          .run(async () => {
            const answer = await ask<UpdateBreederResponseJson>('PATCH', `/v1/${breeder()}?updateMask=phrases`, {
              phrases: rows.map((r) => keptPhrase(r.text)),
            });
            setRows(rowsOf(answer.breeder?.phrases ?? []));
          })
          .then(setSaved);
      }}
    >
      <Notice title={say('Places for facts')}>
        <p>{placeNames.join(' ')}</p>
      </Notice>
      {!owner && <p class="muted">{say('Only the owner of the account changes these.')}</p>}
      {rows.length === 0 && <p class="muted">{say('There is none yet.')}</p>}
      {rows.map((r, i) => (
        <div key={r.key} class="stack tight">
          <Field
            label={say('Phrase {i}', { i: i + 1 })}
            lines={3}
            maxLength={1000}
            value={r.text}
            disabled={!owner}
            onInput={(text) => change(rows.map((x) => (x === r ? { ...x, text } : x)))}
            error={problem(save.error, `breeder.phrases[${i}]`, `phrases[${i}]`)}
          />
          {r.text.includes('[') && (
            <p class="muted">{say('As it would read: {fill}', { fill: fill(r.text, facts) })}</p>
          )}
          {owner && (
            <div class="actions">
              <Button kind="quiet" icon="close" onClick={() => change(rows.filter((x) => x !== r))}>
                {say('Remove phrase {i}', { i: i + 1 })}
              </Button>
            </div>
          )}
        </div>
      ))}
      <Problem error={save.error} shown={rows.map((_, i) => `phrases[${i}]`)} />
      {saved && (
        <Notice kind="good" live>
          <p>{say('Saved.')}</p>
        </Notice>
      )}
      {owner && (
        <div class="actions">
          <Button kind="main" type="submit" busy={save.busy}>
            {say('Save')}
          </Button>
          <Button icon="plus" onClick={() => change([...rows, ...rowsOf([''])])}>
            {say('One more')}
          </Button>
          {rows.length === 0 && (
            <Button onClick={() => change(rowsOf(starters))}>{say('Begin with three of ours')}</Button>
          )}
        </div>
      )}
    </form>
  );
}
