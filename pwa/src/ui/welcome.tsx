import type { JSX } from 'preact';
import { phase } from '../sync/sync';
import { Link, Screen } from './nav';
import { Icon, Notice, ThermalBand } from './parts';

/** For a phone that knows nothing yet. */
export function Welcome(): JSX.Element {
  return (
    <Screen title="Warmhand" above={<ThermalBand />}>
      <p class="lead">
        For the first weeks with a snake that has moved in with you, together with the person who bred it.
      </p>
      {phase.value === 'offline' && (
        <Notice kind="warn" live>
          <p>There is no network just now. To take on a card you need it once; after that the app works without.</p>
        </Notice>
      )}
      <div class="stack foot">
        <Link to="/c" class="button main">
          <Icon name="hand" />
          <span>I have a handover card</span>
        </Link>
        <Link to="/b" class="button">
          <Icon name="key" />
          <span>I am a breeder</span>
        </Link>
        <Link to="/in" class="button quiet">
          I was here before, on another phone
        </Link>
      </div>
    </Screen>
  );
}
