import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import { Field } from './controls';
import { SavePdf } from './pdf';

export interface VetLetterProps {
  fetch: (body: { paper: string; concern: string; pictures: number }) => Promise<Blob>;
  main?: boolean | undefined;
}

/** A letter that whoever drives to the vet takes along. */
export function VetLetter({ fetch, main }: VetLetterProps): JSX.Element {
  const [concern, setConcern] = useState('');
  const [pictures, setPictures] = useState('6');
  return (
    <div class="stack">
      <p>
        For a vet who treats reptiles: weights, meals, what was seen, warmth and setup as they were logged, and the
        latest pictures. It names no illness. Call first when it is urgent; the letter can come after.
      </p>
      <Field
        label="What worries you (may stay empty)"
        value={concern}
        onInput={setConcern}
        lines={4}
        maxLength={1000}
      />
      <SavePdf
        label="Save the letter"
        name="vet-letter"
        main={main}
        fetch={(paper) => fetch({ paper, concern, pictures: Number(pictures) })}
      >
        <Field
          label="Pictures"
          value={pictures}
          onInput={setPictures}
          options={[
            { value: '6', label: 'The latest 6' },
            { value: '2', label: 'The latest 2' },
            { value: '0', label: 'None' },
          ]}
        />
      </SavePdf>
    </div>
  );
}
