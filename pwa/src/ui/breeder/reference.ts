// The service's tables, read once a visit.
import { call, Offline } from '../../api/client';
import type {
  ListGenesResponseJson,
  ListSetupPointsResponseJson,
  ListSignsResponseJson,
  ListSpeciesResponseJson,
  ListTablesResponseJson,
} from '../../api/gen/warmhand/v1/reference_service_pb';
import { keepTable, readTable } from '../../store/copies';
import type { Tables } from '../../store/db';

/** With what this device kept when there is no network. */
function kept<K extends keyof Tables>(key: K, load: () => Promise<Tables[K]>): () => Promise<Tables[K]> {
  return once(async () => {
    try {
      const rows = await load();
      await keepTable(key, rows).catch(() => undefined); // a full phone: the screen has it all the same
      return rows;
    } catch (e) {
      const copy = e instanceof Offline ? await readTable(key).catch(() => undefined) : undefined;
      if (!copy) throw e;
      return copy;
    }
  });
}

function once<T>(load: () => Promise<T>): () => Promise<T> {
  let kept: Promise<T> | undefined;
  return () => {
    kept ??= load().catch((e: unknown) => {
      kept = undefined;
      throw e;
    });
    return kept;
  };
}

export const species = kept(
  'species',
  async () => (await call<ListSpeciesResponseJson>('GET', '/v1/species')).species ?? [],
);
export const genes = kept('genes', async () => (await call<ListGenesResponseJson>('GET', '/v1/genes')).genes ?? []);
export const signs = kept('signs', async () => (await call<ListSignsResponseJson>('GET', '/v1/signs')).signs ?? []);
export const setupPoints = kept(
  'points',
  async () => (await call<ListSetupPointsResponseJson>('GET', '/v1/setupPoints')).points ?? [],
);
export const tables = once<ListTablesResponseJson>(() => call<ListTablesResponseJson>('GET', '/v1/tables'));
