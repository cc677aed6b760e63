import type { JSX } from 'preact';
import { useEffect, useState } from 'preact/hooks';
import { ApiError, asKeeper, call } from '../../api/client';
import type {
  CalendarLinkJson,
  CreateCalendarLinkResponseJson,
  GetCalendarLinkResponseJson,
} from '../../core/contract';
import { say } from '../../core/say';
import { day } from '../../core/time';
import { Button, Failed, Notice } from '../parts/controls';

/** The keeper's check-ins in the phone's own calendar, by a private address that can be taken back. */
export function Calendar(): JSX.Element {
  const [link, setLink] = useState<CalendarLinkJson | undefined>();
  const [error, setError] = useState('');
  const [said, setSaid] = useState('');
  const [busy, setBusy] = useState(false);
  useEffect(() => {
    call<GetCalendarLinkResponseJson>('GET', '/v1/keepers/me/calendarLink', undefined, asKeeper).then(
      (answer) => setLink(answer.link),
      () => undefined, // without network it is not shown, and can be made when there is
    );
  }, []);
  const run = async (work: () => Promise<void>) => {
    setBusy(true);
    setError('');
    setSaid('');
    try {
      await work();
    } catch (e) {
      setError(
        e instanceof ApiError ? e.message : say('There is no network just now. This can be done when there is.'),
      );
    }
    setBusy(false);
  };
  const create = () =>
    run(async () => {
      const answer = await call<CreateCalendarLinkResponseJson>(
        'POST',
        '/v1/keepers/me:createCalendarLink',
        {},
        asKeeper,
      );
      setLink(answer.link);
    });
  const stop = () =>
    run(async () => {
      await call('DELETE', '/v1/keepers/me/calendarLink', undefined, asKeeper);
      setLink(undefined);
      setSaid(say('Nobody can read it at the old address any more.'));
    });
  const copy = (url: string) =>
    navigator.clipboard.writeText(url).then(
      () => setSaid(say('Copied.')),
      () => setSaid(say('This browser did not let us copy. Press long on the address instead.')),
    );
  const url = link?.url;
  return (
    <section class="stack" aria-labelledby="calendar">
      <h2 id="calendar">{say('In your calendar')}</h2>
      <p>
        {say(
          'Your calendar can show what you are asked next, and forgets it once you have answered. It can take half a day until it looks again.',
        )}
      </p>
      <Failed text={error} />
      {url && (
        <Notice title={say('Add this address to your calendar')}>
          <p>{say('In your calendar app choose to add or subscribe to a calendar by its address.')}</p>
          <p class="text">{url}</p>
          <p>
            {say(
              'Whoever has this address can read what you are asked about your animals, so keep it to yourself. It is shown this once.',
            )}
          </p>
          <div class="actions">
            <a class="button" href={url.replace(/^https?:/, 'webcal:')}>
              {say('Open it in the calendar')}
            </a>
            <Button icon="copy" onClick={() => void copy(url)}>
              {say('Copy the address')}
            </Button>
          </div>
        </Notice>
      )}
      {link && !url && (
        <p>
          {say(
            'You have made one, which works until {day}. Its address is not kept; if you need it again, make a new one.',
            { day: day(link.expireTime ?? '') },
          )}
        </p>
      )}
      <div class="actions">
        {!url && (
          <Button busy={busy} onClick={() => void create()}>
            {link ? say('Make a new address') : say('Make a calendar')}
          </Button>
        )}
        {link && (
          <Button kind="quiet" busy={busy} onClick={() => void stop()}>
            {say('Stop the calendar')}
          </Button>
        )}
      </div>
      <p role="status">{said}</p>
    </section>
  );
}
