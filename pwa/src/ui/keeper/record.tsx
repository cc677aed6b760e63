import type { JSX } from 'preact';
import { asKeeper, callForFile, withQuery } from '../../api/client';
import type { AnimalJson, CaseJson, EntryJson } from '../../core/contract';
import { caseAddress } from '../../core/ids';
import { ago, day } from '../../core/time';
import { formatMass } from '../../core/units';
import { entryLine } from '../../core/words';
import { Link, Screen } from '../nav';
import { SavePdf } from '../parts/pdf';
import { SaveSigned } from '../parts/signed';
import { animalName, known } from './state';

const sexes: Record<string, string> = { SEX_FEMALE: 'female', SEX_MALE: 'male', SEX_UNKNOWN: 'not known' };

/** Who the animal is, as a list of facts. */
export function Identity({
  animal,
  names,
}: {
  animal: AnimalJson;
  names: { common?: string | undefined; scientific?: string | undefined };
}): JSX.Element {
  const facts: [string, JSX.Element | string | undefined][] = [
    ['Species', names.common],
    ['Scientific name', names.scientific && <i lang="la">{names.scientific}</i>],
    ['Name or number', animal.displayName],
    ['Sex', sexes[animal.sex ?? '']],
    ['Hatched', animal.hatchDate && day(`${animal.hatchDate}T12:00:00`)],
    ['Genes', animal.genes?.length ? animal.genes.join(', ') : undefined],
    ['Clutch', animal.clutch],
  ];
  return (
    <dl class="facts">
      {facts.map(
        ([k, v]) =>
          v && (
            <div key={k}>
              <dt>{k}</dt>
              <dd>{v}</dd>
            </div>
          ),
      )}
    </dl>
  );
}

export default function HandoverRecord({ c }: { c: CaseJson }): JSX.Element {
  const h = known.value?.records.get(c.name ?? '');
  const r = h?.record;
  const back = caseAddress(c.name ?? '');
  if (!r) {
    return (
      <Screen title="Handover record" back={back}>
        <p>It has not reached this phone yet. It comes by itself when there is network, and stays from then on.</p>
      </Screen>
    );
  }
  return (
    <Screen title="Handover record" back={back}>
      <p class="muted">
        Issued by {r.breederName} {ago(r.issueTime)}. It stays as it was issued; what happens since is in the history.
      </p>
      <Identity animal={r.animal ?? c.animal ?? {}} names={{ common: r.commonName, scientific: r.scientificName }} />
      {(r.cautions?.length ?? 0) > 0 && (
        <section class="stack" aria-labelledby="mind">
          <h2 id="mind">What to mind with this one</h2>
          <ul class="bullets">
            {r.cautions?.map((t) => (
              <li key={t}>{t}</li>
            ))}
          </ul>
        </section>
      )}
      <section class="stack" aria-labelledby="fed">
        <h2 id="fed">How it is fed</h2>
        <p class="lead">{r.feeding}</p>
      </section>
      <section class="stack" aria-labelledby="reach">
        <h2 id="reach">How to reach {r.breederName}</h2>
        {r.breederContact && <p>{r.breederContact}</p>}
        <Link to={caseAddress(c.name ?? '', 'thread')} class="button">
          Write here
        </Link>
      </section>
      <Past title="Weights before the handover" list={r.weighIns} line={(e) => formatMass(Number(e.weighIn?.massG))} />
      <Past title="Meals before the handover" list={r.offers} line={(e) => entryLine(e)} />
      <Past title="Sheds before the handover" list={r.sheds} line={(e) => entryLine(e)} />
      <Link to={caseAddress(c.name ?? '', 'setup')} class="button">
        Setup checklist for {animalName(c)}
      </Link>
      <section class="stack" aria-labelledby="paper">
        <h2 id="paper">On paper</h2>
        <p>The whole record, with the first two weeks day by day and when to call whom.</p>
        <SavePdf
          label="Save as PDF"
          name="handover-record"
          fetch={(paper) =>
            callForFile('application/pdf', 'GET', withQuery(`/v1/${h.name}/record.pdf`, { paper }), undefined, asKeeper)
          }
        />
        <SaveSigned
          fetch={() => callForFile('application/jose', 'GET', `/v1/${h.name}/record.jws`, undefined, asKeeper)}
        />
      </section>
    </Screen>
  );
}

function Past({
  title,
  list,
  line,
}: {
  title: string;
  list: readonly EntryJson[] | undefined;
  line: (e: EntryJson) => string;
}): JSX.Element | null {
  if (!list?.length) return null;
  return (
    <details>
      <summary>
        {title} ({list.length})
      </summary>
      <table>
        <caption class="ear">{title}</caption>
        <thead>
          <tr>
            <th scope="col">Day</th>
            <th scope="col">What</th>
          </tr>
        </thead>
        <tbody>
          {list.toReversed().map((e) => (
            <tr key={e.name}>
              <td>{day(e.happenTime ?? '')}</td>
              <td>{line(e)}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </details>
  );
}
