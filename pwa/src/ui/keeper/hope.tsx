import type { JSX } from 'preact';
import { useEffect, useState } from 'preact/hooks';
import { asKeeper, call } from '../../api/client';
import type { CaseJson, ProbeCaseResponseJson, ProbeJson } from '../../core/contract';
import { ifSentence } from '../../core/words';

/** The one thing that would make it better, when there is one and there is network to ask. Never what would make it worse. */
export function Hope({ c }: { c: CaseJson }): JSX.Element | null {
  const [probe, setProbe] = useState<ProbeJson>();
  const better = c.standing === 'STANDING_WATCH' || c.standing === 'STANDING_STEP_IN';
  useEffect(() => {
    setProbe(undefined);
    if (!better) return;
    const stop = new AbortController();
    call<ProbeCaseResponseJson>('GET', `/v1/${c.name}:probe`, undefined, { ...asKeeper, signal: stop.signal }).then(
      (said) => setProbe(said.probes?.find((p) => p.better)),
      () => undefined, // nothing is missing without it
    );
    return () => stop.abort();
  }, [c.name, c.assessTime, better]);
  return probe ? <p>{ifSentence(probe)}</p> : null;
}
