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
        <p class="muted">
          You took on a snake before, on another phone? Open the app on that phone. If it is gone, ask your breeder for
          a new card.
        </p>
      </div>
    </Screen>
  );
}
