import type { JSX } from 'preact';
import { useEffect, useId, useRef, useState } from 'preact/hooks';
import type {
  ConfirmImportResponseJson,
  GetImportResponseJson,
  ImportJson,
  ListImportsResponseJson,
  UndoImportResponseJson,
} from '../../api/gen/warmhand/v1/import_service_pb';
import { idOf } from '../../core/ids';
import { say } from '../../core/say';
import { ago } from '../../core/time';
import { Button, Notice } from '../parts/controls';
import { give } from '../parts/pdf';
import { FormError, useLoad, useSave } from './hooks';
import { type Answered, added, Look } from './listlook';
import { Heading, Link, Problem, Trouble, Waiting } from './nav';
import { ask, askForExport, breeder, isOwner } from './session';

/** What the service takes. */
const most = 20 * 1024 * 1024;

interface Chosen {
  file: File;
  /** Resource name of the import. */
  name: string;
  /** Of a workbook whose other sheet is brought in next. */
  sheet?: string | undefined;
}

/** Lists come in here, and all that the breeder has goes out. */
export default function ListsPage(): JSX.Element {
  const [chosen, setChosen] = useState<Chosen>();
  const [confirmed, setConfirmed] = useState<{ name: string; sheets: string[]; sheet: string }>();
  const send = useSave();
  const take = (file: File, sheet?: string) =>
    void send.run(async (intent) => {
      if (file.size > most) {
        throw new FormError(
          'file',
          say('The file is larger than 20 MB. Save the list alone as CSV, without pictures, or in parts.'),
        );
      }
      const name = `${breeder()}/imports/${intent.id}`;
      await ask('PUT', `/v1/${name}/file?name=${encodeURIComponent(file.name)}`, file, {
        headers: { 'Content-Type': file.type || 'application/octet-stream' },
        timeout: 300_000,
      });
      setConfirmed(undefined);
      setChosen({ file, name, sheet });
    });
  const confirm = async ({ mapping, leave, wrong, sheets }: Answered) => {
    if (!chosen) return;
    await ask<ConfirmImportResponseJson>('POST', `/v1/${chosen.name}:confirm`, {
      mapping,
      leaveRows: leave,
      leaveWrong: wrong > 0,
    });
    setConfirmed({ name: chosen.name, sheets, sheet: mapping.sheet ?? '' });
  };
  if (chosen && confirmed) {
    const others = confirmed.sheets.filter((s) => s !== confirmed.sheet);
    return (
      <main class="page">
        <Heading key="work">{chosen.file.name}</Heading>
        <Underway name={confirmed.name} />
        {others.length > 0 && (
          <section class="stack" aria-label={say('Other sheets')}>
            <p>{say('The workbook has more sheets.')}</p>
            <div class="actions">
              {others.map((s) => (
                <Button key={s} busy={send.busy} onClick={() => take(chosen.file, s)}>
                  {say('Look at the sheet “{sheet}”', { sheet: s })}
                </Button>
              ))}
            </div>
            <Problem error={send.error} />
          </section>
        )}
        <div class="actions">
          <Link to="/b/animals" class="button plain">
            {say('To the stock book')}
          </Link>
          <Button kind="quiet" onClick={() => setChosen(undefined)}>
            {say('Another list')}
          </Button>
        </div>
      </main>
    );
  }
  if (chosen) {
    return (
      <main class="page">
        <Heading key="look">{chosen.file.name}</Heading>
        <Look
          key={chosen.name}
          name={chosen.name}
          sheet={chosen.sheet}
          confirm={confirm}
          leave={() => setChosen(undefined)}
        />
      </main>
    );
  }
  return (
    <main class="page">
      <Heading key="lists">{say('Lists')}</Heading>
      <section class="card stack" aria-labelledby="l-in">
        <h2 id="l-in">{say('Bring in a list')}</h2>
        <p>
          {say(
            'A spreadsheet of your animals, or of what you logged: weights, feedings, sheds. Columns of any name and order, one row for each animal or event, or a column for each weighing day. You see first what comes of it; nothing is added before you say so.',
          )}
        </p>
        <ChooseFile busy={send.busy} take={take} />
        <Problem error={send.error} />
      </section>
      <Earlier />
      <TakeOut />
    </main>
  );
}

function ChooseFile({ busy, take }: { busy: boolean; take: (file: File) => void }): JSX.Element {
  const box = useRef<HTMLInputElement>(null);
  const id = useId();
  return (
    <div class="actions">
      <input
        ref={box}
        id={id}
        class="ear"
        type="file"
        tabIndex={-1}
        aria-label={say('List, CSV or XLSX')}
        accept=".csv,.tsv,.txt,.xlsx,.xlsm,text/csv,text/plain,application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
        onChange={(e) => {
          const file = e.currentTarget.files?.[0];
          if (file) take(file);
          e.currentTarget.value = '';
        }}
      />
      <Button kind="main" icon="list" busy={busy} onClick={() => box.current?.click()}>
        {busy ? say('Sending the list') : say('Choose a file, CSV or XLSX')}
      </Button>
    </div>
  );
}

/** An import, asked for again while the service works on it. */
function useImport(name: string, known?: ImportJson) {
  const [turn, setTurn] = useState(0);
  const loaded = useLoad(`${name} ${turn}`, async (signal) => {
    if (known && turn === 0) return known;
    return (await ask<GetImportResponseJson>('GET', `/v1/${name}`, undefined, { signal })).import ?? {};
  });
  const [latest, setLatest] = useState(known);
  useEffect(() => {
    if (loaded.data) setLatest(loaded.data);
  }, [loaded.data]);
  const works = latest?.state === 'IMPORT_STATE_RUNNING' || latest?.state === 'IMPORT_STATE_UNDOING';
  const waits = works && (Boolean(loaded.data) || Boolean(loaded.error));
  useEffect(() => {
    if (!waits) return undefined;
    const timer = setTimeout(() => setTurn((n) => n + 1), 700);
    return () => clearTimeout(timer);
  }, [waits]);
  return { latest, error: latest ? undefined : loaded.error, again: () => setTurn((n) => n + 1), set: setLatest };
}

/** One import from its confirmation on. */
function Underway({ name, known }: { name: string; known?: ImportJson }): JSX.Element {
  const { latest, error, again, set } = useImport(name, known);
  const undo = useSave();
  const [sure, setSure] = useState(false);
  if (!latest) return error ? <Trouble error={error} again={again} /> : <Waiting />;
  const state = latest.state ?? 'IMPORT_STATE_UNSPECIFIED';
  const ended = state === 'IMPORT_STATE_DONE' || state === 'IMPORT_STATE_FAILED';
  const working = state === 'IMPORT_STATE_RUNNING' || state === 'IMPORT_STATE_UNDOING';
  const takeBack = () =>
    void undo
      .run(async () => {
        const answer = await ask<UndoImportResponseJson>('POST', `/v1/${name}:undo`, {});
        if (answer.import) set(answer.import);
        again();
      })
      .then((ok) => ok && setSure(false));
  return (
    <div class="stack">
      {working && (
        <>
          <p>
            {say('{what}: {done} of {total}. You may leave this page; it goes on.', {
              what: state === 'IMPORT_STATE_RUNNING' ? say('Being added') : say('Being taken back'),
              done: latest.done ?? 0,
              total: latest.total ?? 0,
            })}
          </p>
          <progress class="wide" max={latest.total || 1} value={latest.done ?? 0} aria-label={say('How far it is')} />
        </>
      )}
      <div role="status" class="stack">
        {state === 'IMPORT_STATE_DONE' && (
          <Notice kind="good">{say('{added} were added.', { added: added(latest) })}</Notice>
        )}
        {state === 'IMPORT_STATE_UNDONE' && (
          <Notice kind="info">
            {latest.kept?.length
              ? say('Taken back, but for what something hangs on by now:')
              : say('Taken back. It is as if the list had never come.')}
          </Notice>
        )}
        {state === 'IMPORT_STATE_FAILED' && (
          <Notice kind="bad" title={say('This stopped before its end')}>
            <p>{say('{trouble} {added} were added so far.', { trouble: latest.trouble, added: added(latest) })}</p>
          </Notice>
        )}
      </div>
      {state === 'IMPORT_STATE_UNDONE' && Boolean(latest.kept?.length) && (
        <ul class="list">
          {latest.kept?.map((k) => (
            <li key={k.animal}>
              <Link to={`/b/animals/${idOf(k.animal)}`}>{k.displayName || say('No label')}</Link> {k.why}
            </li>
          ))}
        </ul>
      )}
      {ended && !isOwner() && <p class="muted">{say('The owner of the account can take all of it back.')}</p>}
      {ended && isOwner() && (
        <>
          {sure && (
            <p>
              {say('Take back {added} that came with {file}?', {
                added: added(latest),
                file: latest.file || say('this list'),
              })}
            </p>
          )}
          <Problem error={undo.error} />
          <div class="actions">
            {sure ? (
              <>
                <Button kind="danger" busy={undo.busy} onClick={takeBack}>
                  {say('Yes, undo all of it')}
                </Button>
                <Button kind="quiet" onClick={() => setSure(false)}>
                  {say('Keep it')}
                </Button>
              </>
            ) : (
              <Button aria-label={say('Undo {file}', { file: latest.file ?? '' })} onClick={() => setSure(true)}>
                {say('Undo')}
              </Button>
            )}
          </div>
        </>
      )}
    </div>
  );
}

/** What was brought in before. */
function Earlier(): JSX.Element | null {
  const loaded = useLoad('imports', (signal) =>
    ask<ListImportsResponseJson>('GET', `/v1/${breeder()}/imports?pageSize=50`, undefined, { signal }),
  );
  if (loaded.error) return <Trouble error={loaded.error} again={loaded.again} />;
  if (!loaded.data?.imports?.length) return null;
  return (
    <section class="card stack" aria-labelledby="l-was">
      <h2 id="l-was">{say('Brought in before')}</h2>
      <ul class="list">
        {loaded.data.imports.map((i) => (
          <li key={i.name} class="stack">
            <p>
              <strong>{i.file || say('A list')}</strong> <span class="muted">{ago(i.confirmTime)}</span>
            </p>
            <Underway name={i.name ?? ''} known={i} />
          </li>
        ))}
      </ul>
    </section>
  );
}

const exports = [
  {
    file: 'export/stock.xlsx',
    name: 'stock.xlsx',
    type: 'application/vnd.openxmlformats-officedocument.spreadsheetml.sheet',
    label: say('Stock book as a workbook (XLSX)'),
  },
  { file: 'export/stock.zip', name: 'stock.zip', type: 'application/zip', label: say('Stock book as CSV (zip)') },
  { file: 'cases.jsonl', name: 'cases.jsonl', type: 'application/jsonl', label: say('All cases as a case file') },
] as const;

/** All that is the breeder's, to keep elsewhere. */
function TakeOut(): JSX.Element {
  const save = useSave();
  const [which, setWhich] = useState('');
  const [said, setSaid] = useState('');
  return (
    <section class="card stack" aria-labelledby="l-out">
      <h2 id="l-out">{say('Take it out')}</h2>
      <p>
        {say(
          'Your stock book with what you logged yourself: brought in again, it adds nothing. What keepers logged, and the messages, are in the case file. Names of columns are English in every language.',
        )}
      </p>
      <Problem error={save.error} />
      <div class="actions">
        {exports.map((x) => (
          <Button
            key={x.file}
            busy={save.busy && which === x.file}
            disabled={save.busy}
            onClick={() => {
              setWhich(x.file);
              setSaid('');
              void save
                .run(async () => give(await askForExport(x.type, `/v1/${breeder()}/${x.file}`), x.name))
                .then((ok) => ok && setSaid(say('{name} is with your downloads.', { name: x.name })));
            }}
          >
            {x.label}
          </Button>
        ))}
      </div>
      <p class="muted" role="status">
        {said}
      </p>
    </section>
  );
}
