// What a link to a letter for the vet opens. It needs no sign-in; the secret is in the fragment.

import type { JSX } from 'preact';
import { asKeeper, callForFile } from '../api/client';
import { say } from '../core/say';
import { Screen } from './nav';
import { Notice } from './parts/controls';
import { SavePdf } from './parts/pdf';

export default function Letter(): JSX.Element {
  const secret = location.hash.slice(1);
  return (
    <Screen title={say('A letter about a snake')}>
      <p class="lead">
        {say(
          'Somebody gave you this link so that you can read how their snake has been: weights, meals, what was seen, warmth and pictures. It is a PDF, made from their log as it is now.',
        )}
      </p>
      <p class="muted">
        {say(
          'You need no account. The link holds for 14 days or until they end it, and they see that it was opened. Please do not pass it on.',
        )}
      </p>
      {secret ? (
        <SavePdf
          label={say('Open the letter')}
          name="vet-letter"
          main
          fetch={(paper) => callForFile('application/pdf', 'POST', '/v1/vet-letter.pdf', { secret, paper }, asKeeper)}
        />
      ) : (
        <Notice kind="bad" title={say('This link is not whole')}>
          <p>{say('Open it once more from the message that it came in.')}</p>
        </Notice>
      )}
    </Screen>
  );
}
