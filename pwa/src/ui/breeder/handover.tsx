import { signal } from '@preact/signals';
import type { JSX } from 'preact';
import { useContext, useState } from 'preact/hooks';
import { withQuery } from '../../api/client';
import type { AnimalJson } from '../../api/gen/warmhand/v1/animal_service_pb';
import type {
  CreateHandoverResponseJson,
  GetHandoverResponseJson,
  HandoverJson,
  HandoverStateJson,
  ListHandoversResponseJson,
  ReplaceClaimCodeResponseJson,
  RevokeHandoverResponseJson,
} from '../../api/gen/warmhand/v1/handover_service_pb';
import { idOf } from '../../core/ids';
import { facts, say } from '../../core/say';
import { ago, date, day, fromInput } from '../../core/time';
import { entryLine } from '../../core/words';
import { ThermalBand } from '../parts/band';
import { grouped, hostOf, Qr } from '../parts/code';
import { Button, Field, Notice } from '../parts/controls';
import { FormError, isOffline, problem, useLoad, useSave } from './hooks';
import { Go, Heading, Link, Problem, Trouble, Waiting } from './nav';
import { PrintCard, PrintRecord } from './print';
import { ask, breeder } from './session';

/** Codes made on this screen, by handover. In memory only: the service keeps hashes. */
const codes = signal<Record<string, { code: string; url: string }>>({});

function keepCode(h: HandoverJson | undefined, code: string | undefined, url: string | undefined): void {
  if (h?.name && code) codes.value = { ...codes.value, [h.name]: { code, url: url ?? '' } };
}

const stateWords: Record<HandoverStateJson, string> = {
  HANDOVER_STATE_UNSPECIFIED: say('not known'),
  HANDOVER_STATE_ISSUED: say('not claimed yet'),
  HANDOVER_STATE_CLAIMED: say('claimed'),
  HANDOVER_STATE_REVOKED: say('revoked'),
  HANDOVER_STATE_EXPIRED: say('code expired'),
};

/** The way that is open without network: a record and its code are made by the service, a sale with a printed card is kept here. */
export function SellByCard({ animal }: { animal: AnimalJson }): JSX.Element {
  return (
    <Link to={`/b/sell/${idOf(animal.name)}`} class="button">
      {say('Sell it with a blank card, without network')}
    </Link>
  );
}

export function Handovers({ animal }: { animal: AnimalJson }): JSX.Element {
  const go = useContext(Go);
  const path = `/v1/${breeder()}/handovers`;
  const loaded = useLoad(`handovers ${animal.name}`, (signal) =>
    ask<ListHandoversResponseJson>('GET', withQuery(path, { animal: animal.name, pageSize: 200 }), undefined, {
      signal,
    }),
  );
  const [open, setOpen] = useState(false);
  const [when, setWhen] = useState('');
  const [showDay, setShowDay] = useState('');
  const [buyer, setBuyer] = useState('');
  const save = useSave();
  const handovers = loaded.data?.handovers ?? [];
  return (
    <section class="card stack" aria-labelledby="a-hand">
      <h2 id="a-hand">{say('Handover')}</h2>
      {Boolean(loaded.error) && <Trouble error={loaded.error} again={loaded.again} />}
      {handovers.length > 0 && (
        <ul class="list">
          {handovers.map((h) => (
            <li key={h.name}>
              <Link to={`/b/handovers/${idOf(h.name)}`}>
                <strong>{day(h.handoverTime ?? h.createTime ?? '')}</strong>
                <span>{stateWords[h.state ?? 'HANDOVER_STATE_UNSPECIFIED']}</span>
                <span class="muted">{facts(h.showDay && date(h.showDay), h.buyerNote)}</span>
              </Link>
            </li>
          ))}
        </ul>
      )}
      {open ? (
        <form
          class="stack"
          noValidate
          onSubmit={(e) => {
            e.preventDefault();
            void save.run(async ({ id }) => {
              const at = when ? fromInput(when) : undefined;
              if (at === null)
                throw new FormError('handover_time', say('Give the day and the time, or leave it empty for now.'));
              const answer = await ask<CreateHandoverResponseJson>('POST', withQuery(path, { requestId: id }), {
                ...(animal.name && { animal: animal.name }),
                ...(at && { handoverTime: at.toISOString() }),
                showDay: showDay.trim(),
                buyerNote: buyer.trim(),
              } satisfies HandoverJson);
              keepCode(answer.handover, answer.claimCode, answer.claimUrl);
              go(`/b/handovers/${idOf(answer.handover?.name)}`);
            });
          }}
        >
          <Field
            label={say('Handed over')}
            type="datetime-local"
            hint={say('Empty means now')}
            value={when}
            onInput={setWhen}
            error={problem(save.error, 'handover_time')}
          />
          <Field
            label={say('Show day (may stay empty)')}
            maxLength={60}
            value={showDay}
            onInput={setShowDay}
            error={problem(save.error, 'show_day')}
          />
          <Field
            label={say('Note on the buyer (may stay empty)')}
            hint={say('For you only; never in the record')}
            maxLength={200}
            value={buyer}
            onInput={setBuyer}
            error={problem(save.error, 'buyer_note')}
          />
          <p class="muted">
            {say('The record takes what is logged now: weights, offers, sheds, genes. Correct first what is wrong.')}
          </p>
          <Problem error={save.error} shown={['handover_time', 'show_day', 'buyer_note']} />
          {isOffline(save.error) && <SellByCard animal={animal} />}
          <div class="actions">
            <Button kind="main" type="submit" icon="hand" busy={save.busy}>
              {say('Make the record and its code')}
            </Button>
            <Button onClick={() => setOpen(false)}>{say('Cancel')}</Button>
          </div>
        </form>
      ) : (
        <div class="actions">
          <Button kind={handovers.length ? 'plain' : 'main'} icon="hand" onClick={() => setOpen(true)}>
            {say('Hand over')}
          </Button>
        </div>
      )}
    </section>
  );
}

export function HandoverPage({ id }: { id: string }): JSX.Element {
  const name = `${breeder()}/handovers/${id}`;
  const loaded = useLoad(name, async (signal) => {
    const answer = await ask<GetHandoverResponseJson>('GET', `/v1/${name}`, undefined, { signal });
    if (!answer.handover) throw new Error(say('The service sent no handover.'));
    return answer.handover;
  });
  const revoke = useSave();
  const renew = useSave();
  const [sure, setSure] = useState(false);
  const h = loaded.data;
  if (!h) {
    return (
      <main class="page">{loaded.error ? <Trouble error={loaded.error} again={loaded.again} /> : <Waiting />}</main>
    );
  }
  const r = h.record;
  const code = codes.value[h.name ?? ''];
  const waiting = h.state === 'HANDOVER_STATE_ISSUED' || h.state === 'HANDOVER_STATE_EXPIRED';
  const title = r?.animal?.displayName || r?.commonName || say('Handover');
  const newCode = () =>
    void renew.run(async () => {
      const answer = await ask<ReplaceClaimCodeResponseJson>('POST', `/v1/${name}:replaceClaimCode`, {});
      keepCode(answer.handover, answer.claimCode, answer.claimUrl);
      if (answer.handover) loaded.set({ ...h, ...answer.handover, ...(r && { record: r }) });
    });
  return (
    <main class="page printed">
      <Heading>{say('Handover of {title}', { title })}</Heading>
      <p class="muted unprinted">
        {facts(
          !(h.claimTime && h.state === 'HANDOVER_STATE_CLAIMED') && stateWords[h.state ?? 'HANDOVER_STATE_UNSPECIFIED'],
          say('handed over {ago}', { ago: ago(h.handoverTime) }),
          h.claimTime && say('claimed {ago}', { ago: ago(h.claimTime) }),
          waiting && h.claimExpireTime && say('the code waits until {day}', { day: day(h.claimExpireTime) }),
        )}
        {' · '}
        <Link to={`/b/animals/${idOf(h.animal)}`}>{say('Stock book')}</Link>
        {h.case && (
          <>
            {' · '}
            <Link to={`/b/cases/${idOf(h.case)}`}>{say('Case')}</Link>
          </>
        )}
      </p>
      {waiting && code && (
        <section class="ticket" aria-labelledby="t-h">
          <ThermalBand />
          <div>
            <Qr text={code.url} label={say('QR code that opens the claim page')} />
            <div class="stack">
              <h2 id="t-h">{say('For the new keeper of {title}', { title })}</h2>
              <p>{say('Scan this with your phone, or open {host}/c and type', { host: hostOf(code.url) })}</p>
              <p class="big code">{grouped(code.code)}</p>
              <p class="muted">
                {r?.breederName}
                {r?.breederContact && `, ${r.breederContact}`}
              </p>
            </div>
          </div>
        </section>
      )}
      {waiting && code && (
        <div class="unprinted stack">
          <Notice kind="warn" live>
            <p>
              {say('The code is shown this once. Print it or write it down now; later only a new one can be made.')}
            </p>
          </Notice>
          <PrintCard handover={h.name ?? ''} code={code.code} />
        </div>
      )}
      {waiting && !code && (
        <div class="unprinted stack">
          <Notice>
            <p>
              {say(
                'The code was shown when it was made. If it is lost, make a new one; the old one then stops working.',
              )}
            </p>
          </Notice>
        </div>
      )}
      {waiting && (
        <div class="unprinted stack">
          <Problem error={renew.error} />
          <Problem error={revoke.error} />
          <div class="actions">
            <Button icon="key" busy={renew.busy} onClick={newCode}>
              {say('Make a new code')}
            </Button>
            {sure ? (
              <>
                <Button
                  kind="danger"
                  busy={revoke.busy}
                  onClick={() => {
                    void revoke.run(async () => {
                      const answer = await ask<RevokeHandoverResponseJson>('POST', `/v1/${name}:revoke`, {});
                      if (answer.handover) loaded.set({ ...h, ...answer.handover, ...(r && { record: r }) });
                    });
                  }}
                >
                  {say('Yes, revoke it and end its case')}
                </Button>
                <Button onClick={() => setSure(false)}>{say('No')}</Button>
              </>
            ) : (
              <Button kind="danger" onClick={() => setSure(true)}>
                {say('Revoke')}
              </Button>
            )}
          </div>
        </div>
      )}
      {r && (
        <section class="stack record" aria-labelledby="r-h">
          <h2 id="r-h">{say('The record, as the keeper gets it')}</h2>
          <PrintRecord handover={h.name ?? ''} />
          <dl class="facts">
            <div>
              <dt>{say('Species')}</dt>
              <dd>
                {r.commonName} <i class="muted">{r.scientificName}</i>
              </dd>
            </div>
            {r.animal?.hatchDate && (
              <div>
                <dt>{say('Hatched')}</dt>
                <dd>{date(r.animal.hatchDate)}</dd>
              </div>
            )}
            {(r.animal?.genes ?? []).length > 0 && (
              <div>
                <dt>{say('Genes')}</dt>
                <dd>{r.animal?.genes?.join(', ')}</dd>
              </div>
            )}
          </dl>
          {r.feeding && <p>{r.feeding}</p>}
          {(r.cautions?.length ?? 0) > 0 && (
            <ul class="bullets">
              {r.cautions?.map((c) => (
                <li key={c}>{c}</li>
              ))}
            </ul>
          )}
          {(
            [
              [say('Weights'), r.weighIns],
              [say('Offers'), r.offers],
              [say('Sheds'), r.sheds],
            ] as const
          ).map(
            ([word, entries]) =>
              (entries ?? []).length > 0 && (
                <div key={word}>
                  <h3>{word}</h3>
                  <ul class="list">
                    {entries?.toReversed().map((e) => (
                      <li key={e.name} class="row">
                        <span>{entryLine(e)}</span>
                        <span class="muted end">{day(e.happenTime ?? '')}</span>
                      </li>
                    ))}
                  </ul>
                </div>
              ),
          )}
        </section>
      )}
    </main>
  );
}
