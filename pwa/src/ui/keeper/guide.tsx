import type { JSX } from 'preact';
import { useEffect, useRef } from 'preact/hooks';
import { asKeeper, callForFile, withQuery } from '../../api/client';
import type { CaseJson, GuideJson, GuidePageJson } from '../../core/contract';
import { caseAddress } from '../../core/ids';
import { say } from '../../core/say';
import { Link, Screen } from '../nav';
import { Button } from '../parts/controls';
import { Icon, type IconName } from '../parts/icons';
import { SavePdf } from '../parts/pdf';
import { animalName, known } from './state';

/** What to do in the app after reading, by page. */
const onwards: Record<string, { label: string; to: string; icon: IconName }[]> = {
  first_days: [{ label: say('The handover record'), to: 'record', icon: 'book' }],
  not_eating: [
    { label: say('Log what you measure'), to: 'climate', icon: 'warm' },
    { label: say('Log an offer'), to: 'offer', icon: 'meal' },
  ],
  shed: [{ label: say('Log the shed'), to: 'shed', icon: 'shed' }],
  heat: [
    { label: say('Log what you measure'), to: 'climate', icon: 'warm' },
    { label: say('Open the checklist'), to: 'setup', icon: 'list' },
  ],
  openings: [{ label: say('Open the checklist'), to: 'setup', icon: 'list' }],
  vet: [
    { label: say('I see one of these'), to: 'sign', icon: 'warn' },
    { label: say('A letter for the vet'), to: 'vet', icon: 'print' },
  ],
};

export default function Guide({ c, page: code }: { c: CaseJson; page: string | undefined }): JSX.Element {
  const guide = known.value?.guides.get(c.name ?? '');
  const page = guide?.pages?.find((p) => p.code === code);
  if (page) return <Page c={c} page={page} />;
  return (
    <Screen title={say('Guide for {animal}', { animal: animalName(c) })} back={caseAddress(c.name ?? '')}>
      {guide ? (
        <>
          <p>
            {say('Short pages, made for {animal} as it is now. They are on this phone, so they work without network.', {
              animal: animalName(c),
            })}
          </p>
          <List c={c} guide={guide} />
          <SavePdf label={say('Save all pages as PDF')} name="guide" fetch={pdf(c)} />
        </>
      ) : (
        <p>
          {say('It has not reached this phone yet. It comes by itself when there is network, and stays from then on.')}
        </p>
      )}
    </Screen>
  );
}

const pdf = (c: CaseJson, page?: string) => (paper: string) =>
  callForFile(
    'application/pdf',
    'GET',
    withQuery(`/v1/${c.name}/guide.pdf`, { paper, ...(page && { page }) }),
    undefined,
    asKeeper,
  );

function List({ c, guide }: { c: CaseJson; guide: GuideJson }): JSX.Element {
  return (
    <ul class="list plain">
      {guide.pages?.map((p) => (
        <li key={p.code}>
          <Link to={caseAddress(c.name ?? '', `guide/${p.code}`)}>
            <span class="grow">
              {p.title} {p.code === guide.nowPage && <span class="chip">{say('matters now')}</span>}
            </span>
            <Icon name="next" />
          </Link>
        </li>
      ))}
    </ul>
  );
}

function Page({ c, page }: { c: CaseJson; page: GuidePageJson }): JSX.Element {
  const at = (rest: string) => caseAddress(c.name ?? '', rest);
  const sources = useRef<HTMLDetailsElement>(null);
  useEffect(() => {
    const open = () => sources.current?.setAttribute('open', '');
    addEventListener('beforeprint', open);
    return () => removeEventListener('beforeprint', open);
  }, []);
  return (
    <Screen title={page.title ?? ''} back={at('guide')}>
      <p class="muted under">{say('For {animal}', { animal: animalName(c) })}</p>
      {page.now && (
        <section class="card next stack" aria-labelledby="now">
          <h2 id="now">{say('Now')}</h2>
          <p class="lead">{page.now}</p>
        </section>
      )}
      {page.parts?.map((part) => {
        const points = part.points?.map((p) => <li key={p}>{p}</li>);
        return (
          <section key={part.title} class="stack" aria-label={part.title}>
            <h2>{part.title}</h2>
            {part.ordered ? <ol class="bullets steps">{points}</ol> : <ul class="bullets">{points}</ul>}
          </section>
        );
      })}
      <div class="stack unprinted">
        {onwards[page.code ?? '']?.map((o) => (
          <Link key={o.to} to={at(o.to)} class="button">
            <Icon name={o.icon} />
            <span>{o.label}</span>
          </Link>
        ))}
        <Link to={at('thread')} class="button">
          <Icon name="message" />
          <span>{say('Ask {breederName}', { breederName: c.breederName || say('your breeder') })}</span>
        </Link>
      </div>
      <details ref={sources}>
        <summary>{say('Where this comes from')}</summary>
        <p>
          {say(
            'Usual practice, where no source is named. Your breeder’s word goes before it, and a vet’s before both.',
          )}
        </p>
        <dl class="stack">
          {page.parts?.map((part) => (
            <div key={part.title}>
              <dt>{part.title}</dt>
              <dd class="muted">{part.source}</dd>
            </div>
          ))}
        </dl>
      </details>
      <section class="stack unprinted" aria-labelledby="paper">
        <h2 id="paper">{say('On paper')}</h2>
        <div class="actions">
          <Button icon="print" onClick={() => print()}>
            {say('Print this page')}
          </Button>
        </div>
        <SavePdf label={say('Save as PDF')} name="guide" fetch={pdf(c, page.code)} />
      </section>
    </Screen>
  );
}
