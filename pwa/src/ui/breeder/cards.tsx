// Handover cards that are printed blank, to be bound to an animal at the sale.

import type { JSX } from 'preact';
import { useRef, useState } from 'preact/hooks';
import type { CardJson, CreateCardsResponseJson } from '../../core/contract';
import { idOf, uuidv7 } from '../../core/ids';
import { say } from '../../core/say';
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
      <Heading>{say('Blank cards')}</Heading>
      <p>
        {say(
          'Print cards before a show day, and let one go with each animal: scan it when you sell. This works without network, and the buyer can take the card on at once.',
        )}
      </p>
      <PrintBlank done={loaded.again} />
      {Boolean(loaded.error) && <Trouble error={loaded.error} again={loaded.again} />}
      {!cards && !loaded.error && <Waiting />}
      {cards && (
        <section class="stack" aria-labelledby="made">
          <h2 id="made">{say('Cards you have made')}</h2>
          <p class="muted" role="status">
            {cards.length === 0
              ? say('None yet.')
              : blank === 1
                ? say('1 is blank.')
                : say('{blank} are blank.', { blank })}
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
          <strong>{say('Card {number}', { number: c.number })}</strong>
          <span>{say('Went with a sale')}</span>
          <span class="muted">{say('made {day}', { day: day(c.createTime ?? '') })}</span>
        </Link>
      </li>
    );
  }
  const blank = c.state === 'CARD_STATE_BLANK';
  return (
    <li class="row">
      <strong>{say('Card {number}', { number: c.number })}</strong>
      <span>{blank ? (c.claimTime ? say('Its sale has not come in') : say('Blank')) : say('Withdrawn')}</span>
      <span class="muted">{say('made {day}', { day: day(c.createTime ?? '') })}</span>
      {c.claimTime && (
        <span>
          {say('{keeperName} took it on {ago} and waits.', {
            keeperName: c.keeperName || say('Somebody'),
            ago: ago(c.claimTime),
          })}
        </span>
      )}
      {blank && !sure && (
        <span class="end">
          <Button
            kind="quiet"
            aria-label={say('Withdraw card {number}', { number: c.number })}
            onClick={() => setSure(true)}
          >
            {say('Withdraw')}
          </Button>
        </span>
      )}
      {sure && blank && (
        <div class="actions">
          <span>{say('Nobody can use it then, for good.')}</span>
          <Button
            kind="danger"
            busy={save.busy}
            onClick={() => void save.run(() => ask('POST', `/v1/${c.name}:revoke`, {})).then((ok) => ok && again())}
          >
            {say('Withdraw card {number}', { number: c.number })}
          </Button>
          <Button onClick={() => setSure(false)}>{say('No')}</Button>
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
  const cards = count === 1 ? say('1 blank card') : say('{count} blank cards', { count });
  const make = async (): Promise<Made> => {
    if (request.current.count !== count) request.current = { count, id: uuidv7() };
    const body = { count, requestId: request.current.id };
    const answer = await ask<CreateCardsResponseJson>('POST', `/v1/${breeder()}/cards`, body);
    request.current = { count: 0, id: '' };
    done();
    if (answer.cards?.some((c) => !c.code)) {
      throw new Error(
        say('The cards were made, but their codes got lost on the way. Withdraw them below, and print others.'),
      );
    }
    const codes = (answer.cards ?? []).map((c) => ({ card: c.card?.name ?? '', claimCode: c.code ?? '' }));
    setMade({ count, cards: codes });
    return { count, cards: codes };
  };
  return (
    <section class="card stack" aria-labelledby="print-h">
      <h2 id="print-h">{say('Print blank cards')}</h2>
      <SavePdf
        label={
          made
            ? say('Print the same {cards} again', { cards })
            : fits
              ? say('Print {cards}', { cards })
              : say('Print blank cards')
        }
        name="blank-cards"
        main={!made}
        disabled={!fits}
        fetch={async (paper) =>
          askForPdf('POST', `/v1/${breeder()}/cards.pdf`, { form, paper, cards: (made ?? (await make())).cards })
        }
      >
        {!made && (
          <Field
            label={say('How many')}
            inputMode="numeric"
            value={text}
            onInput={setText}
            error={fits ? undefined : say('Give a number from 1 to {most}.', { most })}
          />
        )}
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
      {made && (
        <Notice live>
          <p>{say('Their codes are on this page only, until you leave it. Look at the print before you do.')}</p>
          <div class="actions">
            <Button onClick={() => setMade(undefined)}>{say('Make others')}</Button>
          </div>
        </Notice>
      )}
    </section>
  );
}
