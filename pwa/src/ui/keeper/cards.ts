import { useEffect, useRef, useState } from 'preact/hooks';
import { aboutCard } from '../../photo/card';
import { findCode } from '../../photo/finder';
import type { NewPhoto } from '../../store/outbox';
import { animalName, known } from './state';

/** What is to be said of the card in each picture, by its id, once it was looked for. Without the finder nothing is said. */
export function useCards(photos: readonly NewPhoto[], caseName: string): ReadonlyMap<string, string> {
  const [said, setSaid] = useState<ReadonlyMap<string, string>>(new Map());
  const begun = useRef(new Set<string>());
  useEffect(() => {
    for (const photo of photos) {
      if (begun.current.has(photo.id)) continue;
      begun.current.add(photo.id);
      void look(photo, caseName).then(
        (text) => setSaid((was) => new Map(was).set(photo.id, text)),
        () => begun.current.delete(photo.id), // the finder is not on this phone yet
      );
    }
  }, [photos, caseName]);
  return said;
}

async function look(photo: NewPhoto, caseName: string): Promise<string> {
  const bitmap = await createImageBitmap(new Blob([photo.bytes], { type: photo.type }));
  const pen = new OffscreenCanvas(bitmap.width, bitmap.height).getContext('2d');
  if (!pen) return '';
  pen.drawImage(bitmap, 0, 0);
  const found = await findCode(pen.getImageData(0, 0, bitmap.width, bitmap.height));
  bitmap.close();
  const cases = (known.value?.cases ?? []).map((c) => ({ name: c.name ?? '', animal: animalName(c) }));
  return aboutCard(found, caseName, cases);
}
