import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import { say } from '../../core/say';
import { formatNumber } from '../../core/units';
import { Field } from '../parts/controls';
import { useLoad } from './hooks';
import { Heading, Link, Trouble, Waiting } from './nav';
import { species, tables } from './reference';

/** Every number that the service judges by, for whoever wants to know why. */
export function TablesPage(): JSX.Element {
  const [typed, setTyped] = useState('');
  const loaded = useLoad('tables', async () => {
    const [all, kinds] = await Promise.all([tables(), species()]);
    const names = new Map(kinds.map((k) => [k.id, k.commonName]));
    const rows = (all.rows ?? []).map((r) => ({
      ...r,
      of: names.get(r.of) ?? r.of ?? '',
      what: (r.what ?? '').replaceAll('_', ' '),
      values: (r.values ?? []).map((v) => formatNumber(Number(v), 6)).join('; '),
    }));
    return { version: all.version, rows };
  });
  const words = typed.toLowerCase().split(/\s+/).filter(Boolean);
  const found = (loaded.data?.rows ?? []).filter((r) => {
    const text = `${r.of} ${r.what} ${r.unit} ${r.sure} ${r.source} ${r.note}`.toLowerCase();
    return words.every((w) => text.includes(w));
  });
  return (
    <main class="page">
      <Heading>{say('What the program goes by')}</Heading>
      <p>
        {say(
          'Every limit, rate and threshold that your animals and cases are judged by, with where it comes from and how sure it is. What is published was read in its source. What is an assumption is ours, and may be wrong. {link}',
          { link: <Link to="/b/thresholds">{say('Some you can move for your own cases.')}</Link> },
        )}
      </p>
      <search>
        <Field
          label={say('Search')}
          type="search"
          value={typed}
          onInput={setTyped}
          hint={say('Species, quantity, source, or how sure')}
        />
      </search>
      {Boolean(loaded.error) && <Trouble error={loaded.error} again={loaded.again} />}
      {!loaded.data && !loaded.error && <Waiting />}
      {loaded.data && (
        <>
          <p role="status">{say('{n} of {all} rows', { n: found.length, all: loaded.data.rows.length })}</p>
          {found.length > 0 && (
            <section
              class="scroll"
              aria-label={say('The table')}
              // biome-ignore lint/a11y/noNoninteractiveTabindex: a wide table is scrolled by keyboard
              tabIndex={0}
            >
              <table class="laid">
                <thead>
                  <tr>
                    {[say('Of'), say('What'), say('Value'), say('Unit'), say('How sure'), say('Source')].map((h) => (
                      <th key={h} scope="col">
                        {h}
                      </th>
                    ))}
                  </tr>
                </thead>
                <tbody>
                  {found.map((r) => (
                    <tr key={`${r.of}/${r.what}`}>
                      <td>{r.of}</td>
                      <th scope="row">{r.what}</th>
                      <td data-head={say('Value')}>{r.values}</td>
                      <td data-head={say('Unit')}>{r.unit}</td>
                      <td data-head={say('How sure')}>{r.sure}</td>
                      <td data-head={say('Source')}>
                        {r.source}
                        {r.note && <span class="muted"> ({r.note})</span>}
                      </td>
                    </tr>
                  ))}
                </tbody>
              </table>
            </section>
          )}
          <p class="muted">{say('Tables of {version}.', { version: loaded.data.version })}</p>
        </>
      )}
    </main>
  );
}
