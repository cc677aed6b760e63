import type { JSX } from 'preact';
import { language, languages } from '../../core/language';
import { say } from '../../core/say';
import { changeSettings, settings } from '../../core/settings';
import { tellLanguage } from '../../sync/language';

/**
 * The languages there are, each in its own words. Another one loads the page anew, and with it what the service says. In
 * settings it says how far the choice reaches.
 */
export function Languages({ inSettings = false }: { inSettings?: boolean }): JSX.Element {
  const choose = async (tag: string) => {
    changeSettings({ language: tag, untold: true });
    await tellLanguage(); // without network it is told later
    location.reload();
  };
  return (
    <fieldset class="field">
      <legend>{say('Language')}</legend>
      <div class="choices">
        {Object.entries(languages).map(([tag, name]) => (
          <label key={tag} lang={tag}>
            <input type="radio" name="language" checked={tag === language()} onChange={() => void choose(tag)} />
            {name}
          </label>
        ))}
      </div>
      {inSettings && (
        <p class="muted">
          {settings.value.untold
            ? say('What is sent to you comes in it as soon as there is network.')
            : say('What is sent to you comes in it, too.')}
        </p>
      )}
    </fieldset>
  );
}
