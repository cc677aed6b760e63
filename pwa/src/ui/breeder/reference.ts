// The service's tables, read once a visit.
import { call } from '../../api/client';
import type {
  GeneJson,
  ListGenesResponseJson,
  ListSetupPointsResponseJson,
  ListSignsResponseJson,
  ListSpeciesResponseJson,
  ListTablesResponseJson,
  SetupPointJson,
  SignInfoJson,
  SpeciesJson,
} from '../../api/gen/warmhand/v1/reference_service_pb';

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

export const species = once<SpeciesJson[]>(
  async () => (await call<ListSpeciesResponseJson>('GET', '/v1/species')).species ?? [],
);
export const genes = once<GeneJson[]>(async () => (await call<ListGenesResponseJson>('GET', '/v1/genes')).genes ?? []);
export const signs = once<SignInfoJson[]>(
  async () => (await call<ListSignsResponseJson>('GET', '/v1/signs')).signs ?? [],
);
export const setupPoints = once<SetupPointJson[]>(
  async () => (await call<ListSetupPointsResponseJson>('GET', '/v1/setupPoints')).points ?? [],
);
export const tables = once<ListTablesResponseJson>(() => call<ListTablesResponseJson>('GET', '/v1/tables'));
