import type { JSX } from 'preact';
import { asKeeper, callForFile, withQuery } from '../../api/client';
import type {
  AnimalJson,
  CaseJson,
  EntryJson,
  FirstDaysJson,
  HomeFactJson,
  HomeJson,
  ParentRecordJson,
  WhenToCallJson,
} from '../../core/contract';
import { caseAddress } from '../../core/ids';
import { say } from '../../core/say';
import { ago, date, day, daysSince } from '../../core/time';
import { formatMass, formatNumber, formatTemp, formatTempBand } from '../../core/units';
import { entryLine } from '../../core/words';
import { Link, Screen } from '../nav';
import { Facts } from '../parts/facts';
import { SavePdf } from '../parts/pdf';
import { SaveSigned } from '../parts/signed';
import { animalName, known } from './state';

const sexes: Record<string, string> = {
  SEX_FEMALE: say('female'),
  SEX_MALE: say('male'),
  SEX_UNKNOWN: say('not known'),
};

/** Who the animal is, as a list of facts. */
export function Identity({
  animal,
  names,
  more = [],
}: {
  animal: AnimalJson;
  names: { common?: string | undefined; scientific?: string | undefined };
  more?: [string, string | undefined][];
}): JSX.Element {
  const facts: [string, JSX.Element | string | undefined][] = [
    [say('Species'), names.common],
    [say('Scientific name'), names.scientific && <i lang="la">{names.scientific}</i>],
    [say('Name or number'), animal.displayName],
    [say('Sex'), sexes[animal.sex ?? '']],
    [say('Hatched'), animal.hatchDate && date(animal.hatchDate)],
    [say('Genes'), animal.genes?.length ? animal.genes.join(', ') : undefined],
    [say('Clutch'), animal.clutch],
    ...more,
  ];
  return <Facts of={facts} />;
}

export default function HandoverRecord({ c }: { c: CaseJson }): JSX.Element {
  const h = known.value?.records.get(c.name ?? '');
  const r = h?.record;
  const back = caseAddress(c.name ?? '');
  if (!r) {
    return (
      <Screen title={say('Handover record')} back={back}>
        <p>
          {say('It has not reached this phone yet. It comes by itself when there is network, and stays from then on.')}
        </p>
      </Screen>
    );
  }
  return (
    <Screen title={say('Handover record')} back={back}>
      <p class="muted">
        {say('Issued by {breederName} {ago}. It stays as it was issued; what happens since is in the history.', {
          breederName: r.breederName,
          ago: ago(r.issueTime),
        })}
      </p>
      <Identity
        animal={r.animal ?? c.animal ?? {}}
        names={{ common: r.commonName, scientific: r.scientificName }}
        more={[
          [say('Mother'), parent(r.mother)],
          [say('Father'), parent(r.father)],
          [say('Handed over'), h.handoverTime && day(h.handoverTime)],
        ]}
      />
      {(r.cautions?.length ?? 0) > 0 && (
        <section class="stack" aria-labelledby="mind">
          <h2 id="mind">{say('What to mind with this one')}</h2>
          <ul class="bullets">
            {r.cautions?.map((t) => (
              <li key={t}>{t}</li>
            ))}
          </ul>
        </section>
      )}
      <section class="stack" aria-labelledby="fed">
        <h2 id="fed">{say('How it is fed')}</h2>
        <p class="lead">{r.feeding}</p>
      </section>
      {r.firstDays && <FirstDays plan={r.firstDays} />}
      {r.home && <Home home={r.home} />}
      <Link to={caseAddress(c.name ?? '', 'setup')} class="button">
        {say('Setup checklist for {animal}', { animal: animalName(c) })}
      </Link>
      {r.calls && <Calls calls={r.calls} sign={caseAddress(c.name ?? '', 'sign')} />}
      <section class="stack" aria-labelledby="reach">
        <h2 id="reach">{say('How to reach {breederName}', { breederName: r.breederName })}</h2>
        {r.breederContact && <p>{r.breederContact}</p>}
        <Link to={caseAddress(c.name ?? '', 'thread')} class="button">
          {say('Write here')}
        </Link>
      </section>
      <Past
        title={say('Weights before the handover')}
        list={r.weighIns}
        line={(e) => formatMass(Number(e.weighIn?.massG))}
      />
      <Past title={say('Meals before the handover')} list={r.offers} line={(e) => entryLine(e)} />
      <Past title={say('Sheds before the handover')} list={r.sheds} line={(e) => entryLine(e)} />
      {(r.origin?.length ?? 0) > 0 && (
        <details>
          <summary>{say('Origin and law')}</summary>
          <dl class="stack">
            {r.origin?.map((f) => (
              <div key={f.text}>
                {f.label && <dt class="muted">{f.label}</dt>}
                <dd>
                  {f.text} {f.source && <span class="muted">({f.source})</span>}
                </dd>
              </div>
            ))}
          </dl>
        </details>
      )}
      <section class="stack" aria-labelledby="paper">
        <h2 id="paper">{say('On paper')}</h2>
        <p>{say('The whole record, to print or to send on.')}</p>
        <SavePdf
          label={say('Save as PDF')}
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

function parent(p: ParentRecordJson | undefined): string | undefined {
  return [p?.name, p?.genes?.join(', ')].filter(Boolean).join(': ') || undefined;
}

/** The plan day by day, open while it is under way. */
function FirstDays({ plan }: { plan: FirstDaysJson }): JSX.Element {
  const at = (date: string | undefined) => `${date}T12:00:00`;
  const last = plan.days?.at(-1)?.date;
  return (
    <section class="stack" aria-labelledby="days">
      <h2 id="days">{say('The first two weeks')}</h2>
      <details open={!!last && daysSince(at(last)) <= 0}>
        <summary>{say('Day by day')}</summary>
        <ol class="list">
          {plan.days?.map((d) => (
            <li key={d.day} aria-current={daysSince(at(d.date)) === 0 ? 'date' : undefined}>
              <b>{say('Day {n}, {day}', { n: d.day, day: day(at(d.date)) })}</b>
              <p>{d.text}</p>
            </li>
          ))}
        </ol>
      </details>
      <p>{plan.after}</p>
      <p class="muted">{plan.caution}</p>
    </section>
  );
}

function Home({ home }: { home: HomeJson }): JSX.Element {
  const measured = home.facts?.some((f) => f.was !== undefined);
  return (
    <section class="stack" aria-labelledby="home">
      <h2 id="home">{say('How it is kept, and what its home should be')}</h2>
      <table>
        <caption class="ear">{say('Its climate')}</caption>
        <thead>
          <tr>
            <td />
            <th scope="col">{say('At home')}</th>
            {measured && (
              <th scope="col">
                {say('At the breeder')} {home.measureTime && <small class="block">{day(home.measureTime)}</small>}
              </th>
            )}
          </tr>
        </thead>
        <tbody>
          {home.facts?.map((f) => (
            <tr key={f.code}>
              <th scope="row">{f.label}</th>
              <td>{shouldBe(f)}</td>
              {measured && <td class="muted">{f.was === undefined ? '–' : value(f, Number(f.was))}</td>}
            </tr>
          ))}
        </tbody>
      </table>
      {!measured && <p>{say('What it was at the breeder is not on record.')}</p>}
      <p class="muted">{home.note}</p>
      {(home.points?.length ?? 0) > 0 && (
        <ul class="bullets">
          {home.points?.map((t) => (
            <li key={t}>{t}</li>
          ))}
        </ul>
      )}
    </section>
  );
}

function value(f: HomeFactJson, v: number): string {
  return f.unit === 'HOME_UNIT_PERCENT' ? `${formatNumber(v)}\u00a0%` : formatTemp(v);
}

function shouldBe(f: HomeFactJson): string {
  if (f.high === undefined) return say('ask the breeder');
  const high = Number(f.high);
  if (f.low === undefined) return say('not above {value}', { value: value(f, high) });
  const low = Number(f.low);
  return f.unit === 'HOME_UNIT_PERCENT'
    ? say('{low} to {value}', { low: formatNumber(low), value: value(f, high) })
    : formatTempBand(low, high);
}

function Calls({ calls, sign }: { calls: readonly WhenToCallJson[]; sign: string }): JSX.Element {
  return (
    <section class="stack" aria-labelledby="call">
      <h2 id="call">{say('When to call')}</h2>
      {calls.map((c, i) => (
        <details key={c.whom} open={i === 0}>
          <summary>{c.whom}</summary>
          <ul class="bullets two">
            {c.signs?.map((s) => (
              <li key={s}>{s}</li>
            ))}
          </ul>
        </details>
      ))}
      <Link to={sign} class="button">
        {say('I see one of these')}
      </Link>
    </section>
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
            <th scope="col">{say('Day')}</th>
            <th scope="col">{say('What')}</th>
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
