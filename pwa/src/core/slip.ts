/**
 * Would the server take this weight for a slip of the finger? The same bounds as its
 * own, so that the question is asked before the entry leaves the phone.
 */
export function weightSlip(before: number, now: number, days: number): boolean {
  const gone = Math.max(0, days);
  const ratio = now / before;
  return ratio > 1.5 + gone * 0.01 || ratio < Math.max(0.4, 0.65 - gone * 0.001);
}
