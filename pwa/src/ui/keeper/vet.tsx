import type { JSX } from 'preact';
import { asKeeper, call, callForFile } from '../../api/client';
import type { CaseJson } from '../../core/contract';
import { caseAddress } from '../../core/ids';
import { say } from '../../core/say';
import { Screen } from '../nav';
import { VetLetter } from '../parts/vetletter';
import { animalName } from './state';

export default function Vet({ c }: { c: CaseJson }): JSX.Element {
  return (
    <Screen title={say('{animal} at the vet', { animal: animalName(c) })} back={caseAddress(c.name ?? '')}>
      <VetLetter
        main
        fetch={(body) => callForFile('application/pdf', 'POST', `/v1/${c.name}/vet-letter.pdf`, body, asKeeper)}
        links={{ name: c.name ?? '', send: (method, path, body) => call(method, path, body, asKeeper) }}
      />
    </Screen>
  );
}
