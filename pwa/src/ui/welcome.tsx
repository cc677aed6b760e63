import type { JSX } from 'preact';
import { say } from '../core/say';
import { phase } from '../sync/sync';
import { Link, Screen } from './nav';
import { Icon, Notice, ThermalBand } from './parts';
import { Languages } from './parts/languages';

/** For a phone that knows nothing yet. */
export function Welcome(): JSX.Element {
  return (
    <Screen title={'Warmhand'} above={<ThermalBand />}>
      <p class="lead">
        {say('For the first weeks with a snake that has moved in with you, together with the person who bred it.')}
      </p>
      {phase.value === 'offline' && (
        <Notice kind="warn" live>
          <p>
            {say('There is no network just now. To take on a card you need it once; after that the app works without.')}
          </p>
        </Notice>
      )}
      <div class="stack foot">
        <Link to="/c" class="button main">
          <Icon name="hand" />
          <span>{say('I have a handover card')}</span>
        </Link>
        <Link to="/b" class="button">
          <Icon name="key" />
          <span>{say('I am a breeder')}</span>
        </Link>
        <Link to="/in" class="button quiet">
          {say('I was here before, on another phone')}
        </Link>
      </div>
      <Languages />
    </Screen>
  );
}
