import { signal } from '@preact/signals';

/** What language this person reads, how they like numbers, what paper they have, what they agreed to tell. Stored values are always grams and °C. */
export interface Settings {
  mass: 'g' | 'oz';
  temp: 'C' | 'F';
  paper: 'a4' | 'letter';
  /** Whether the time when a picture was taken goes along with it. */
  taken: boolean;
  /** What prices are in: three letters of ISO 4217. */
  currency: string;
  /** A tag of BCP 47 that was chosen here; '' as the person has it elsewhere, or else the browser. */
  language: string;
  /** Whether the service was not told yet what was chosen. */
  untold: boolean;
  /** What the service last said that the person reads; '' when it said nothing. */
  theirs: string;
}

const key = 'warmhand.settings';

function stored(): Settings {
  const usual: Settings = {
    mass: 'g',
    temp: spoken(/-(US|BS|BZ|KY|LR|PW|FM|MH)$/i) ? 'F' : 'C',
    taken: false,
    currency: currencyOf(),
    language: '',
    untold: false,
    theirs: '',
    paper: spoken(/-(US|CA|MX|PH|CL|CO|VE|GT|CR|PA|SV|NI|DO|PR|BS|BZ|LR|PW|FM|MH)$/i) ? 'letter' : 'a4',
  };
  try {
    const was = JSON.parse(localStorage.getItem(key) ?? '{}') as Partial<Settings>;
    return {
      mass: was.mass === 'oz' || was.mass === 'g' ? was.mass : usual.mass,
      temp: was.temp === 'F' || was.temp === 'C' ? was.temp : usual.temp,
      taken: was.taken === true,
      currency: was.currency && /^[A-Z]{3}$/.test(was.currency) ? was.currency : usual.currency,
      language: typeof was.language === 'string' ? was.language : '',
      untold: was.untold === true,
      theirs: typeof was.theirs === 'string' ? was.theirs : '',
      paper: was.paper === 'letter' || was.paper === 'a4' ? was.paper : usual.paper,
    };
  } catch {
    return usual; // storage is closed to us, or holds something else
  }
}

function currencyOf(): string {
  const where = { GB: 'GBP', US: 'USD', CH: 'CHF', CA: 'CAD', AU: 'AUD', NZ: 'NZD', DK: 'DKK', NO: 'NOK', SE: 'SEK' };
  return Object.entries(where).find(([region]) => spoken(new RegExp(`-${region}$`, 'i')))?.[1] ?? 'EUR';
}

function spoken(where: RegExp): boolean {
  return typeof navigator !== 'undefined' && where.test(navigator.language);
}

export const settings = signal<Settings>(stored());

export function changeSettings(change: Partial<Settings>): void {
  settings.value = { ...settings.value, ...change };
  try {
    localStorage.setItem(key, JSON.stringify(settings.value));
  } catch {
    // It holds for this visit.
  }
}
