import type { JSX } from 'preact';
import { language, languages } from '../../core/language';
import { say } from '../../core/say';
import { changeSettings } from '../../core/settings';

/** The languages there are, each in its own words. Another one loads the page anew, and with it what the service says. */
export function Languages(): JSX.Element {
  const choose = (tag: string) => {
    changeSettings({ language: tag });
    location.reload();
  };
  return (
    <fieldset class="field">
      <legend>{say('Language')}</legend>
      <div class="choices">
        {Object.entries(languages).map(([tag, name]) => (
          <label key={tag} lang={tag}>
            <input type="radio" name="language" checked={tag === language()} onChange={() => choose(tag)} />
            {name}
          </label>
        ))}
      </div>
    </fieldset>
  );
}
