// The sale at the table: a printed card and an animal are brought together with one hand, with or without network.

import type { JSX } from 'preact';
import { useEffect, useMemo, useState } from 'preact/hooks';
import { parseClaimCode, scannedClaimCode } from '../../core/code';
import type { StockAnimalJson } from '../../core/contract';
import { idOf } from '../../core/ids';
import { facts, say } from '../../core/say';
import { changeSettings, settings } from '../../core/settings';
import { ago, date } from '../../core/time';
import { formatMass, parseNumber } from '../../core/units';
import { type Item, readDraft, writeDraft } from '../../store/db';
import { itemOf, undoSale } from '../../store/outbox';
import { Button, Field, Notice } from '../parts/controls';
import { Facts } from '../parts/facts';
import { Scan } from '../parts/scan';
import { sexWord, speciesName } from './animals';
import { FormError, problem, useLoad, useSave } from './hooks';
import { Heading, Link, Problem, Trouble, Waiting } from './nav';
import { ReadyWord } from './ready';
import { species as speciesTable } from './reference';
import { breeder, draftPrefix } from './session';
import { choose, everything, missing } from './stock';
import { cardOf, fetchStock, loadWaiting, orCopy, sell, send, waiting } from './table';

interface Draft {
  card: Card | null;
  /** The animal's name; '' while none is chosen. */
  animal: string;
  buyer: string;
  price: string;
  showDay: string;
}

export interface Card {
  code: string;
  /** As printed on it; absent when this device does not know the card. */
  number?: number;
}

const draftKey = `${draftPrefix}sell`;
const nothing: Draft = { card: null, animal: '', buyer: '', price: '', showDay: '' };

/** What a person or the camera gave instead of what was looked for. */
class Wrong extends Error {}

/** The card with this code, if this device may sell with it. */
export async function cardFor(code: string): Promise<Card> {
  const known = await cardOf(code);
  if (typeof known === 'object') return { code, number: known.number };
  if (known === 'not known') return { code };
  throw new Wrong(
    waiting.value.some((i) => i.sale?.cardCode === code)
      ? say('This card went with a sale on this device already. Take another card.')
      : say('This is none of your blank cards. It may have gone with another sale. Take another card.'),
  );
}

/** The animal of the stock book whose label this is; undefined for a code of another kind. */
export function animalOnLabel(text: string): string | undefined {
  const id = /\/b\/animals\/([A-Za-z0-9_-]+)\/?$/.exec(text)?.[1];
  return id && `${breeder()}/animals/${id}`;
}

export default function SellPage({ animal = '' }: { animal?: string }): JSX.Element {
  const [draft, setDraft] = useState<Draft>();
  const [done, setDone] = useState<{ item: Item; s: StockAnimalJson | undefined }>();
  const stock = useLoad('sell stock', (signal) =>
    orCopy(
      () => fetchStock(signal),
      (copy) => copy.animals,
    ),
  );
  const { again } = stock;
  useEffect(() => {
    void readDraft<Draft>(draftKey)
      .catch(() => undefined)
      .then((was) => setDraft({ ...nothing, ...was, ...(animal && { animal: `${breeder()}/animals/${animal}` }) }));
  }, [animal]);
  const put = (change: Partial<Draft>) => {
    if (!draft) return;
    const next = { ...draft, ...change };
    setDraft(next);
    void writeDraft(draftKey, next).catch(() => undefined); // it is there for as long as the page is
  };
  if (done) {
    return (
      <Done
        item={done.item}
        s={done.s}
        next={() => {
          setDraft({ ...nothing, showDay: draft?.showDay ?? '' });
          setDone(undefined);
          again();
        }}
      />
    );
  }
  if (!draft || (!stock.data && !stock.error)) {
    return (
      <main class="page narrow">
        <Waiting />
      </main>
    );
  }
  if (!stock.data) {
    return (
      <main class="page narrow">
        <Trouble error={stock.error} again={again} />
      </main>
    );
  }
  const chosen = stock.data.find((s) => s.animal?.name === draft.animal && !s.away);
  if (draft.card && chosen)
    return <Confirm d={draft} card={draft.card} s={chosen} put={put} sold={(item) => setDone({ item, s: chosen })} />;
  return <Pick d={draft} chosen={chosen} stock={stock.data} put={put} />;
}

/** Card and animal are found, in any order, by the camera or by hand. */
function Pick({
  d,
  chosen,
  stock,
  put,
}: {
  d: Draft;
  chosen: StockAnimalJson | undefined;
  stock: readonly StockAnimalJson[];
  put: (change: Partial<Draft>) => void;
}): JSX.Element {
  const [camera, setCamera] = useState(true);
  const [error, setError] = useState<unknown>();
  const tell = async (work: () => Promise<Partial<Draft>>) => {
    try {
      put(await work());
      setError(undefined);
    } catch (e) {
      setError(e);
    }
  };
  const animal = (name: string): Partial<Draft> => {
    const s = stock.find((x) => x.animal?.name === name);
    if (!s) throw new Wrong(say('This label is of no animal in your stock book.'));
    if (s.away)
      throw new Wrong(
        say('{displayName} has been handed over already.', {
          displayName: s.animal?.displayName || say('This animal'),
        }),
      );
    return { animal: name };
  };
  const read = async (text: string): Promise<Partial<Draft>> => {
    const name = animalOnLabel(text);
    if (name) return animal(name);
    const p = scannedClaimCode(text);
    if (p.ok) return { card: await cardFor(p.code) };
    throw new Wrong(say('That is another kind of code. Scan a handover card, or the label of a tub.'));
  };
  const title = d.card ? say('Which animal?') : chosen ? say('Which card?') : say('Sell an animal');
  return (
    <main class="page narrow sell">
      <Heading key={title}>{title}</Heading>
      <dl class="facts">
        <div>
          <dt>{say('Card')}</dt>
          <dd>{d.card ? <CardName card={d.card} /> : say('not yet')}</dd>
        </div>
        <div>
          <dt>{say('Animal')}</dt>
          <dd>{chosen ? chosen.animal?.displayName || say('No label') : say('not yet')}</dd>
        </div>
      </dl>
      {camera ? (
        <Scan
          what={d.card ? say('the tub’s label') : chosen ? say('the card') : say('the card or of the tub’s label')}
          closing={d.card ? say('Choose from the list') : say('Type the card’s code')}
          onClose={() => setCamera(false)}
          onText={(text) => void tell(() => read(text))}
        >
          <Problem error={error} />
        </Scan>
      ) : (
        <>
          {d.card ? (
            <ChooseAnimal stock={stock} error={error} chosen={(name) => void tell(async () => animal(name))} />
          ) : (
            <TypeCard found={(card) => put({ card })} />
          )}
          <div class="actions">
            <Button icon="photo" onClick={() => setCamera(true)}>
              {say('Use the camera')}
            </Button>
          </div>
        </>
      )}
    </main>
  );
}

export function CardName({ card }: { card: Card }): JSX.Element {
  return <>{card.number ? say('Card {number}', { number: card.number }) : card.code}</>;
}

/** The code of a card, by hand. */
export function TypeCard({ found }: { found: (card: Card) => void }): JSX.Element {
  const [text, setText] = useState('');
  const [error, setError] = useState('');
  return (
    <form
      class="stack"
      noValidate
      onSubmit={(e) => {
        e.preventDefault();
        const p = parseClaimCode(text);
        if (!p.ok) setError(p.problem);
        else cardFor(p.code).then(found, (e: unknown) => setError(e instanceof Error ? e.message : String(e)));
      }}
    >
      <Field
        label={say('Code on the card')}
        value={text}
        onInput={(v) => {
          setText(v.toUpperCase());
          setError('');
        }}
        error={error || undefined}
        maxLength={24}
      />
      <div class="actions">
        <Button kind="main" type="submit">
          {say('Take this card')}
        </Button>
      </div>
    </form>
  );
}

/** The animals that are here, those that are ready first. */
export function ChooseAnimal({
  stock,
  chosen,
  error,
}: {
  stock: readonly StockAnimalJson[];
  chosen: (name: string) => void;
  error?: unknown;
}): JSX.Element {
  const [words, setWords] = useState('');
  const kinds = useLoad('species', () => speciesTable());
  const shown = useMemo(() => {
    const here = choose(stock, { ...everything, words, order: 'place' }, kinds.data);
    return here.sort((a, b) => Number(b.readiness?.ready ?? false) - Number(a.readiness?.ready ?? false));
  }, [stock, words, kinds.data]);
  return (
    <>
      <Field
        label={say('Search')}
        type="search"
        value={words}
        onInput={setWords}
        maxLength={100}
        placeholder={say('Label, gene …')}
      />
      <Problem error={error} />
      {shown.length === 0 && <p class="muted">{say('No animal matches.')}</p>}
      <ul class="list stock">
        {shown.map((s) => (
          <li key={s.animal?.name}>
            <button type="button" onClick={() => chosen(s.animal?.name ?? '')}>
              <strong>{s.animal?.displayName || say('No label')}</strong>
              <ReadyWord of={s} />
              <span class="muted">
                {facts(s.animal?.place, speciesName(kinds.data, s.animal?.species), sexWord(s.animal?.sex))}
              </span>
            </button>
          </li>
        ))}
      </ul>
    </>
  );
}

/** The price as the contract wants it; throws a FormError that names the field. */
function priceOf(text: string, currency: string): { amount: string; currency: string } | undefined {
  if (!text.trim()) return undefined;
  const n = parseNumber(text);
  if (n === null || n < 0 || n >= 1e9)
    throw new FormError('price', say('Write the price in figures, such as 120 or 89,50, or leave it empty.'));
  return { amount: String(Math.round(n * 100) / 100), currency };
}

/** Of the breeders' own and of their neighbours; the contract takes any of ISO 4217. */
const currencies = ['EUR', 'USD', 'GBP', 'CHF', 'CAD', 'AUD', 'NZD', 'DKK', 'NOK', 'SEK', 'PLN', 'CZK', 'HUF'];

function Confirm({
  d,
  card,
  s,
  put,
  sold,
}: {
  d: Draft;
  card: Card;
  s: StockAnimalJson;
  put: (change: Partial<Draft>) => void;
  sold: (item: Item) => void;
}): JSX.Element {
  const kinds = useLoad('species', () => speciesTable());
  const save = useSave();
  const a = s.animal ?? {};
  const name = a.displayName || speciesName(kinds.data, a.species);
  const tell = s.readiness?.points?.filter((p) => p.verdict === 'READY_VERDICT_TELL_BUYER') ?? [];
  return (
    <main class="page narrow sell">
      <Heading key="confirm">{say('Sell {name}?', { name })}</Heading>
      <Facts
        of={[
          [say('Card'), <CardName key="c" card={card} />],
          [say('Species'), speciesName(kinds.data, a.species)],
          [say('Sex'), sexWord(a.sex)],
          [say('Hatched'), a.hatchDate && date(a.hatchDate)],
          [say('Place'), a.place],
          [say('Weight'), s.massG ? `${formatMass(Number(s.massG))}, ${ago(s.weighTime)}` : ''],
          [say('Genes'), (a.genes ?? []).join(', ')],
        ]}
      />
      {tell.map((p) => (
        <Notice key={p.code} kind="warn" title={say('The buyer must hear this')}>
          <p>{p.text}</p>
        </Notice>
      ))}
      {s.readiness && !s.readiness.ready && (
        <Notice kind="warn" title={say('Not ready for sale yet')}>
          <p>{say('Missing: {missing}.', { missing: missing(s.readiness.points) })}</p>
        </Notice>
      )}
      {!card.number && (
        <Notice>
          <p>
            {say('This device does not know your cards yet. Whether this one is blank shows when the sale is sent.')}
          </p>
        </Notice>
      )}
      <form
        class="stack"
        noValidate
        onSubmit={(e) => {
          e.preventDefault();
          void save.run(async ({ at }) => {
            const price = priceOf(d.price, settings.value.currency);
            const item = await sell(
              {
                sale: {
                  ...(a.name && { animal: a.name }),
                  handoverTime: at,
                  cardCode: card.code,
                  buyerNote: d.buyer.trim(),
                  showDay: d.showDay.trim(),
                  ...(price && { price }),
                },
                card: card.number,
              },
              draftKey,
            );
            sold(item);
          });
        }}
      >
        <Field
          label={say('Buyer (may stay empty)')}
          hint={say('For you only; never in the record')}
          value={d.buyer}
          onInput={(buyer) => put({ buyer })}
          maxLength={200}
        />
        <details open={Boolean(d.price || d.showDay)}>
          <summary>{say('Price, show day')}</summary>
          <div class="stack">
            <div class="row wide">
              <Field
                label={say('Price (may stay empty)')}
                inputMode="decimal"
                value={d.price}
                onInput={(price) => put({ price })}
                error={problem(save.error, 'price')}
              />
              <Field
                label={say('Currency')}
                value={settings.value.currency}
                onInput={(currency) => changeSettings({ currency })}
                options={[...new Set([settings.value.currency, ...currencies])].map((c) => ({ value: c, label: c }))}
              />
            </div>
            <Field
              label={say('Show day (may stay empty)')}
              value={d.showDay}
              onInput={(showDay) => put({ showDay })}
              maxLength={60}
            />
          </div>
        </details>
        <Problem error={save.error} shown={['price']} />
        <div class="actions">
          <Button kind="main" type="submit" icon="hand" busy={save.busy}>
            {say('Sold')}
          </Button>
          <Button onClick={() => put({ animal: '' })}>{say('Another animal')}</Button>
          <Button onClick={() => put({ card: null })}>{say('Another card')}</Button>
        </div>
      </form>
    </main>
  );
}

function Done({ item, s, next }: { item: Item; s: StockAnimalJson | undefined; next: () => void }): JSX.Element {
  const [undone, setUndone] = useState<'whole' | 'later'>();
  const [failed, setFailed] = useState<unknown>();
  const now = waiting.value.find((i) => i.id === item.id);
  const name = s?.animal?.displayName || say('The animal');
  const undo = async () => {
    try {
      await undoSale(now ?? item);
      const left = await itemOf(item.id);
      await loadWaiting();
      setUndone(left ? 'later' : 'whole');
      void send().catch(() => undefined);
    } catch (e) {
      setFailed(e);
    }
  };
  return (
    <main class="page narrow sell">
      <Heading key={undone ?? 'done'}>{undone ? say('Taken back') : say('{name} is sold', { name })}</Heading>
      {undone ? (
        <Notice kind="good" live>
          <p>
            {undone === 'whole'
              ? say('{name} is in your stock book again, and the card is blank.', { name })
              : say(
                  '{name} is in your stock book again. The sale had gone out: it is revoked as soon as there is network. Its card counts as used, so take another one next time.',
                  { name },
                )}
          </p>
        </Notice>
      ) : now?.state === 'dead' ? (
        <Notice kind="warn" live title={say('This sale needs you')}>
          <p>{now.error?.message}</p>
          <Link to="/b/unsent" class="button">
            {say('Look at it')}
          </Link>
        </Notice>
      ) : (
        <Notice kind="good" live title={now ? say('Kept on this device') : say('The service has it')}>
          <p>
            {now
              ? say(
                  'It is sent by itself when there is network. The buyer can take on the card now: their phone waits for it.',
                )
              : say('The buyer can take on the card.')}
          </p>
        </Notice>
      )}
      <Problem error={failed} />
      <div class="actions">
        <Button kind="main" icon="next" onClick={next}>
          {say('Next sale')}
        </Button>
        {!undone && now?.state !== 'dead' && <Button onClick={() => void undo()}>{say('Undo')}</Button>}
        <Link to={s?.animal ? `/b/animals/${idOf(s.animal.name)}` : '/b/animals'} class="button">
          {s?.animal?.displayName ? say('See {displayName}', { displayName: s.animal.displayName }) : say('Stock book')}
        </Link>
      </div>
    </main>
  );
}
