import type { JSX } from 'preact';
import { useEffect, useState } from 'preact/hooks';
import { locale } from '../../core/language';
import { say } from '../../core/say';
import { day } from '../../core/time';
import { Copy, Notice } from './controls';

/** The QR code, drawn by code that is fetched when the first one is shown. */
export function Qr({ text, label }: { text: string; label: string }): JSX.Element {
  const [draw, setDraw] = useState<{ QrCode: typeof import('./qr').QrCode } | undefined>();
  useEffect(() => {
    import('./qr').then(setDraw, () => undefined); // the typed code is beside it
  }, []);
  return draw ? <draw.QrCode text={text} label={label} /> : <div class="qr" />;
}

/** Ten characters in two groups, as they are read aloud. */
export function grouped(code: string): string {
  const bare = code.replaceAll(/[\s-]/g, '');
  return bare.length === 10 ? `${bare.slice(0, 5)}-${bare.slice(5)}` : code;
}

export function hostOf(url: string): string {
  return URL.canParse(url) ? new URL(url).host : location.host;
}

/** A code that works once, to be scanned, typed or sent: it signs a keeper in, or takes an animal on. */
export function KeeperCode({
  code,
  url,
  until,
  passes,
}: {
  code: string;
  url: string;
  until: string;
  /** The animal that it takes on. */
  passes?: string;
}): JSX.Element {
  const soon = Date.parse(until) - Date.now() < 86_400_000;
  const at = new Date(until).toLocaleTimeString(locale(), { hour: '2-digit', minute: '2-digit' });
  return (
    <div class="stack">
      <div class="ticket">
        <div>
          <Qr
            text={url}
            label={passes ? say('QR code that takes {passes} on', { passes }) : say('QR code that signs the keeper in')}
          />
          <div class="stack">
            <p>
              {say('Scan this with the other phone, or open {address} there and type', {
                address: `${hostOf(url)}${passes ? '/c' : '/in'}`,
              })}
            </p>
            <p class="big code">{grouped(code)}</p>
            <p class="muted">{say('Works once, until {when}.', { when: soon ? at : day(until) })}</p>
          </div>
        </div>
      </div>
      <Notice kind="warn">
        <p>
          {passes
            ? say(
                'Whoever has this code can take {animal} on. Give it to the next keeper alone; it is shown this once.',
                { animal: passes },
              )
            : say('Whoever has this code gets in. Give it to nobody else; it is shown this once.')}
        </p>
      </Notice>
      <div class="actions">
        <Copy text={url} label={say('Copy the link')} otherwise={say('Read the ten characters out instead.')} />
      </div>
    </div>
  );
}
