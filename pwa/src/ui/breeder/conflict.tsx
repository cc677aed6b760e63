// A sale that the service did not take: mostly because two phones of one breeder sold the same animal or used the same card.

import type { ComponentChildren, JSX } from 'preact';
import { useState } from 'preact/hooks';
import type { RevokeHandoverResponseJson } from '../../api/gen/warmhand/v1/handover_service_pb';
import { say } from '../../core/say';
import { clock, day } from '../../core/time';
import type { Item } from '../../store/db';
import { changeSale, sendAgain } from '../../store/outbox';
import { Button } from '../parts/controls';
import { Refused } from '../parts/refused';
import { useLoad, useSave } from './hooks';
import { Link, Problem } from './nav';
import { type Card, ChooseAnimal, TypeCard } from './sell';
import { ask, breeder } from './session';
import { stockCopy } from './table';

/** What a person can say about a sale, by the service's reason. */
const ways: Record<string, { animal?: true; card?: true; other?: true }> = {
  ALREADY_HANDED_OVER: { animal: true, other: true },
  CARD_USED: { card: true },
  CARD_REVOKED: { card: true },
  CODE_WRONG: { card: true },
  ANIMAL_GONE: { animal: true },
};

/** Nothing is decided here but by the person: which sale holds, which animal it was, which card. */
export function RefusedSale({
  item,
  what,
  whose,
  done,
}: {
  item: Item;
  what: string;
  whose: ComponentChildren;
  done: () => void;
}): JSX.Element {
  const [way, setWay] = useState<'' | 'animal' | 'card' | 'other'>('');
  const stock = useLoad('conflict stock', async () => (await stockCopy())?.animals ?? []);
  const revoke = useSave();
  const sale = item.sale ?? {};
  const may = (item.undone ? undefined : ways[item.error?.reason ?? '']) ?? {};
  const { handover = '', claimed = '' } = item.error?.meta ?? {};
  const told = [
    sale.handoverTime && `${clock(sale.handoverTime)}, ${day(sale.handoverTime)}`,
    sale.buyerNote && say('to {buyerNote}', { buyerNote: sale.buyerNote }),
    sale.price?.amount && say('for {amount} {currency}', { amount: sale.price.amount, currency: sale.price.currency }),
    !item.card && say('card {cardCode}', { cardCode: sale.cardCode }),
  ]
    .filter(Boolean)
    .join(', ');
  const otherwise = (change: { animal?: string; card?: Card }) =>
    void changeSale(item, {
      sale: {
        ...sale,
        ...(change.animal && { animal: change.animal }),
        ...(change.card && { cardCode: change.card.code }),
      },
      card: change.card ? change.card.number : item.card,
    }).then(done);
  return (
    <div class="stack">
      <Refused
        item={item}
        what={item.undone ? say('This sale could not be taken back') : what}
        whose={
          <>
            {whose}, {told}
          </>
        }
        done={done}
        loss={
          item.undone
            ? say('The sale then holds, as the service has it.')
            : say('This sale will be gone for good, and its card stays as it is.')
        }
        change={
          <>
            {handover && (
              <Link to={`/b/handovers/${handover}`} class="button">
                {say('See the other sale')}
              </Link>
            )}
            {may.animal && (
              <Button aria-expanded={way === 'animal'} onClick={() => setWay(way === 'animal' ? '' : 'animal')}>
                {say('It was another animal')}
              </Button>
            )}
            {may.card && (
              <Button aria-expanded={way === 'card'} onClick={() => setWay(way === 'card' ? '' : 'card')}>
                {say('It was another card')}
              </Button>
            )}
            {may.other && handover && claimed !== 'true' && (
              <Button aria-expanded={way === 'other'} onClick={() => setWay(way === 'other' ? '' : 'other')}>
                {say('The other sale was the mistake')}
              </Button>
            )}
          </>
        }
      />
      {way === 'animal' && (
        <section class="card stack" aria-label={say('Which animal was it?')}>
          <ChooseAnimal stock={stock.data ?? []} chosen={(animal) => otherwise({ animal })} />
        </section>
      )}
      {way === 'card' && (
        <section class="card stack" aria-label={say('Which card was it?')}>
          <TypeCard found={(card) => otherwise({ card })} />
        </section>
      )}
      {way === 'other' && (
        <section class="card stack" aria-label={say('The other sale was the mistake')}>
          <p>{say('The other sale is revoked: its card opens nothing any more, and this sale holds.')}</p>
          <Problem error={revoke.error} />
          <div class="actions">
            <Button
              kind="danger"
              busy={revoke.busy}
              onClick={() =>
                void revoke
                  .run(async () => {
                    const path = `/v1/${breeder()}/handovers/${handover}:revoke`;
                    await ask<RevokeHandoverResponseJson>('POST', path, {});
                    await sendAgain(item.seq);
                  })
                  .then((ok) => ok && done())
              }
            >
              {say('Revoke the other, keep this one')}
            </Button>
            <Button onClick={() => setWay('')}>{say('No')}</Button>
          </div>
        </section>
      )}
    </div>
  );
}
