import type { JSX } from 'preact';
import { encode } from 'uqr';

/** A QR code as one path, black on white in any theme: phones read it so. */
export function QrCode({ text, label }: { text: string; label: string }): JSX.Element {
  // Level M bears a bent or smudged card; four modules of quiet zone (ISO/IEC 18004).
  const { data, size } = encode(text, { ecc: 'M', border: 4 });
  let path = '';
  data.forEach((row, y) => {
    row.forEach((dark, x) => {
      if (dark) path += `M${x} ${y}h1v1h-1z`;
    });
  });
  return (
    <svg class="qr" viewBox={`0 0 ${size} ${size}`} role="img" aria-label={label} shape-rendering="crispEdges">
      <rect width={size} height={size} fill="#fff" />
      <path d={path} fill="#000" />
    </svg>
  );
}
