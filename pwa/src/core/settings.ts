import { signal } from '@preact/signals';

/** How this person likes numbers. Stored values are always grams and °C. */
export interface Settings {
  mass: 'g' | 'oz';
  temp: 'C' | 'F';
}

const key = 'warmhand.settings';

function stored(): Settings {
  const usual: Settings = imperial() ? { mass: 'g', temp: 'F' } : { mass: 'g', temp: 'C' };
  try {
    const was = JSON.parse(localStorage.getItem(key) ?? '{}') as Partial<Settings>;
    return {
      mass: was.mass === 'oz' || was.mass === 'g' ? was.mass : usual.mass,
      temp: was.temp === 'F' || was.temp === 'C' ? was.temp : usual.temp,
    };
  } catch {
    return usual; // storage is closed to us, or holds something else
  }
}

function imperial(): boolean {
  return typeof navigator !== 'undefined' && /-(US|BS|BZ|KY|LR|PW|FM|MH)$/i.test(navigator.language);
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
