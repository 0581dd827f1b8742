import {
  drawFaults,
  explainFaults,
  loadPracticeFaults,
  type PracticeFault,
  type PracticeSite,
} from "@dyetrace/practice";
import {
  Fault,
  formatCount,
  formatDurationNs,
  formatRateBps,
  formatRatio,
  type UserFile,
  UserFileSchema,
} from "@dyetrace/wire";
import {
  type HideFaults,
  HideFaultsSchema,
  type PracticeAnswer,
  PracticeAnswerSchema,
  type RevealedFaults,
  RevealedFaultsSchema,
  type StandingFault,
  type StandingFaults,
  StandingFaultsSchema,
} from "@dyetrace/wire/console/practice-faults";
import type { FastifyInstance } from "fastify";

/** Faults of a standing practice site: put in and taken out while it stands. Only a practice site's controller has these. */
export function registerPracticeRoutes(app: FastifyInstance, site: PracticeSite): void {
  let standing: readonly StandingHere[] = [];
  let lastNumber = 0;
  const told = (): StandingFaults => ({
    standing: standing.filter(({ isHidden }) => !isHidden).map(tell),
    hidden: standing.filter(({ isHidden }) => isHidden).length,
  });
  const queriers = [...site.graph.nodes.values()].filter(({ isQuerier }) => isQuerier).map(({ name }) => name);
  const queriersHere = queriers.length === 0 && site.querier !== null ? [site.querier] : queriers;
  const kinds = explainFaults(site.graph, queriersHere);
  app.get(
    "/api/practice",
    {
      schema: {
        summary: "The practice site, its faults, and those that it can have",
        response: { 200: PracticeAnswerSchema },
      },
    },
    (): PracticeAnswer => ({ site: site.graph.name, querier: site.querier, ...told(), kinds }),
  );
  app.post<{ Body: UserFile }>(
    "/api/practice/faults",
    { schema: { summary: "Puts faults in", body: UserFileSchema, response: { 200: StandingFaultsSchema } } },
    async (request) => {
      const faults = loadPracticeFaults(request.body.text, request.body.file, site.graph);
      await site.inject(faults);
      standing = [...standing, ...faults.map((fault) => ({ number: ++lastNumber, fault, isHidden: false }))];
      return told();
    },
  );
  app.delete(
    "/api/practice/faults",
    { schema: { summary: "Takes every fault out", response: { 200: StandingFaultsSchema } } },
    async () => {
      const all = standing;
      await site.lift(all.map(({ fault }) => fault));
      standing = standing.filter((one) => !all.includes(one));
      return told();
    },
  );
  app.delete<{ Params: { number: string } }>(
    "/api/practice/faults/:number",
    { schema: { summary: "Takes one fault out", response: { 200: StandingFaultsSchema } } },
    async (request) => {
      const found = standing.find(({ number, isHidden }) => !isHidden && String(number) === request.params.number);
      if (found === undefined) {
        throw new Fault(
          "OPTION_INVALID",
          `No fault ${request.params.number} stands here`,
          "Somebody took it out already",
        );
      }
      await site.lift([found.fault]);
      standing = standing.filter((one) => one !== found);
      return told();
    },
  );
  app.post<{ Body: HideFaults }>(
    "/api/practice/hidden",
    {
      schema: {
        summary: "Puts faults in that are drawn by chance, and tells nobody which",
        body: HideFaultsSchema,
        response: { 200: StandingFaultsSchema },
      },
    },
    async ({ body: { count, seed, source } }) => {
      const put = await hideFaults(site, queriersHere, { count, seed, source: source ?? null });
      standing = [...standing, ...put.map((fault) => ({ number: ++lastNumber, fault, isHidden: true }))];
      return told();
    },
  );
  app.post(
    "/api/practice/reveal",
    { schema: { summary: "Tells which faults were hidden", response: { 200: RevealedFaultsSchema } } },
    (): RevealedFaults => {
      const revealed = standing.filter(({ isHidden }) => isHidden).map(tell);
      standing = standing.map((one) => ({ ...one, isHidden: false }));
      return { revealed, standing: told().standing };
    },
  );
}

interface StandingHere {
  readonly number: number;
  readonly fault: PracticeFault;
  readonly isHidden: boolean;
}

const tell = ({ number, fault }: StandingHere): StandingFault => ({
  ...{ number, fault: fault.fault, on: fault.on },
  with: sayRest(fault),
});

/**
 * Draws until so many stand, each of another kind: what the site refuses beside what stands already is passed over.
 * @throws {Fault} PRACTICE_FAULT_INVALID where so many do not go together, with none of them left in
 */
async function hideFaults(
  site: PracticeSite,
  queriers: readonly string[],
  { count, ...draw }: { readonly count: number; readonly seed: number; readonly source: string | null },
): Promise<readonly PracticeFault[]> {
  const put: PracticeFault[] = [];
  for (const fault of drawFaults(site.graph, queriers, draw)) {
    if (put.some((one) => one.fault === fault.fault)) continue;
    try {
      await site.inject([fault]);
      put.push(fault);
    } catch (error) {
      if (error instanceof Fault && error.code === "PRACTICE_FAULT_INVALID") continue;
      await site.lift(put);
      throw error;
    }
    if (put.length === count) return put;
  }
  await site.lift(put);
  const few = `Only ${put.length} of ${count} hidden faults go into this site beside what stands`;
  throw new Fault("PRACTICE_FAULT_INVALID", few, "Ask for fewer, or lift what stands");
}

/** Everything of a fault beside its kind and place, as its file has it. */
function sayRest({ fault: _, on: __, ...rest }: PracticeFault): string {
  return Object.entries(rest)
    .flatMap(([key, value]) => (value === null || value === undefined || value === false ? [] : [sayPart(key, value)]))
    .filter((part) => part !== "")
    .join(", ");
}

function sayPart(key: string, value: unknown): string {
  if (key === "share") return sayShare(value as { kind: string; ratio?: number; n?: number });
  if (key === "limit") return sayLimit(value as { kind: string; rateBps?: number; packetsPerSecond?: number });
  const words = key.replace(/(Ms|Bytes)$/, "").replace(/[A-Z]/g, (letter) => ` ${letter.toLowerCase()}`);
  if (key.endsWith("Ms")) return `${words} ${formatDurationNs(Number(value) * 1e6)}`;
  if (key.endsWith("Bytes")) return `${words} ${String(value)} B`;
  return value === true ? words.replace(/^is /, "") : `${words} ${String(value)}`;
}

const sayShare = ({ kind, ratio, n }: { kind: string; ratio?: number; n?: number }): string =>
  kind === "random" ? `${formatRatio(ratio ?? 0)} of the packets` : kind === "every" ? `1 packet in ${n}` : "";

const sayLimit = ({ rateBps, packetsPerSecond }: { rateBps?: number; packetsPerSecond?: number }): string =>
  rateBps === undefined ? `${formatCount(packetsPerSecond ?? 0)} packets a second` : formatRateBps(rateBps);
