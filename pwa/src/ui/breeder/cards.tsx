// Handover cards that are printed blank, to be bound to an animal at the sale.
import type { JSX } from 'preact';
import { useRef, useState } from 'preact/hooks';
import type { CardJson, CreateCardsResponseJson } from '../../core/contract';
import { idOf, uuidv7 } from '../../core/ids';
import { ago, day } from '../../core/time';
import { Button, Field, Notice } from '../parts/controls';
import { SavePdf } from '../parts/pdf';
import { useLoad, useSave } from './hooks';
import { Heading, Link, Problem, Trouble, Waiting } from './nav';
import { ask, askForPdf, breeder } from './session';
import { fetchCards } from './table';

/** The service makes and prints so many at once. */
const most = 40;

export default function CardsPage(): JSX.Element {
  const loaded = useLoad(`cards ${breeder()}`, (signal) => fetchCards(signal));
  const cards = loaded.data;
  const blank = cards?.filter((c) => c.state === 'CARD_STATE_BLANK').length ?? 0;
  return (
    <main class="page">
      <Heading>Blank cards</Heading>
      <p>
        Print cards before a show day, and let one go with each animal: scan it when you sell. This works without
        network, and the buyer can take the card on at once.
      </p>
      <PrintBlank done={loaded.again} />
      {Boolean(loaded.error) && <Trouble error={loaded.error} again={loaded.again} />}
      {!cards && !loaded.error && <Waiting />}
      {cards && (
        <section class="stack" aria-labelledby="made">
          <h2 id="made">Cards you have made</h2>
          <p class="muted" role="status">
            {cards.length === 0 ? 'None yet.' : blank === 1 ? '1 is blank.' : `${blank} are blank.`}
          </p>
          <ul class="list">
            {cards.map((c) => (
              <Row key={c.name} c={c} again={loaded.again} />
            ))}
          </ul>
        </section>
      )}
    </main>
  );
}

function Row({ c, again }: { c: CardJson; again: () => void }): JSX.Element {
  const [sure, setSure] = useState(false);
  const save = useSave();
  if (c.handover) {
    return (
      <li>
        <Link to={`/b/handovers/${idOf(c.handover)}`}>
          <strong>Card {c.number}</strong>
          <span>Went with a sale</span>
          <span class="muted">made {day(c.createTime ?? '')}</span>
        </Link>
      </li>
    );
  }
  const blank = c.state === 'CARD_STATE_BLANK';
  return (
    <li class="row">
      <strong>Card {c.number}</strong>
      <span>{blank ? (c.claimTime ? 'Its sale has not come in' : 'Blank') : 'Withdrawn'}</span>
      <span class="muted">made {day(c.createTime ?? '')}</span>
      {c.claimTime && (
        <span>
          {c.keeperName || 'Somebody'} took it on {ago(c.claimTime)} and waits.
        </span>
      )}
      {blank && !sure && (
        <span class="end">
          <Button kind="quiet" aria-label={`Withdraw card ${c.number}`} onClick={() => setSure(true)}>
            Withdraw
          </Button>
        </span>
      )}
      {sure && blank && (
        <div class="actions">
          <span>Nobody can use it then, for good.</span>
          <Button
            kind="danger"
            busy={save.busy}
            onClick={() => void save.run(() => ask('POST', `/v1/${c.name}:revoke`, {})).then((ok) => ok && again())}
          >
            Withdraw card {c.number}
          </Button>
          <Button onClick={() => setSure(false)}>No</Button>
          <Problem error={save.error} />
        </div>
      )}
    </li>
  );
}

interface Made {
  count: number;
  cards: { card: string; claimCode: string }[];
}

/** Cards are made and printed in one go: their codes are told once, and are in this page's memory only. */
function PrintBlank({ done }: { done: () => void }): JSX.Element {
  const [text, setText] = useState('10');
  const [form, setForm] = useState('credit');
  const [made, setMade] = useState<Made>();
  // The same until it is answered: a request whose answer was lost makes nothing twice.
  const request = useRef({ count: 0, id: '' });
  const count = made?.count ?? Number(text);
  const fits = Number.isInteger(count) && count >= 1 && count <= most;
  const cards = count === 1 ? '1 blank card' : `${count} blank cards`;
  const make = async (): Promise<Made> => {
    if (request.current.count !== count) request.current = { count, id: uuidv7() };
    const body = { count, requestId: request.current.id };
    const answer = await ask<CreateCardsResponseJson>('POST', `/v1/${breeder()}/cards`, body);
    request.current = { count: 0, id: '' };
    done();
    if (answer.cards?.some((c) => !c.code)) {
      throw new Error(
        'The cards were made, but their codes got lost on the way. Withdraw them below, and print others.',
      );
    }
    const codes = (answer.cards ?? []).map((c) => ({ card: c.card?.name ?? '', claimCode: c.code ?? '' }));
    setMade({ count, cards: codes });
    return { count, cards: codes };
  };
  return (
    <section class="card stack" aria-labelledby="print-h">
      <h2 id="print-h">Print blank cards</h2>
      <SavePdf
        label={made ? `Print the same ${cards} again` : fits ? `Print ${cards}` : 'Print blank cards'}
        name="blank-cards"
        main={!made}
        disabled={!fits}
        fetch={async (paper) =>
          askForPdf('POST', `/v1/${breeder()}/cards.pdf`, { form, paper, cards: (made ?? (await make())).cards })
        }
      >
        {!made && (
          <Field
            label="How many"
            inputMode="numeric"
            value={text}
            onInput={setText}
            error={fits ? undefined : `Give a number from 1 to ${most}.`}
          />
        )}
        <Field
          label="Card"
          value={form}
          onInput={setForm}
          options={[
            { value: 'credit', label: 'Wallet size, to fold' },
            { value: 'a6', label: 'A6 (105 × 148 mm)' },
          ]}
        />
      </SavePdf>
      {made && (
        <Notice live>
          <p>Their codes are on this page only, until you leave it. Look at the print before you do.</p>
          <div class="actions">
            <Button onClick={() => setMade(undefined)}>Make others</Button>
          </div>
        </Notice>
      )}
    </section>
  );
}
