import { explainFaults, loadPracticeFaults, type PracticeFault, type PracticeSite } from "@dyetrace/practice";
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
  type PracticeAnswer,
  PracticeAnswerSchema,
  type StandingFault,
  StandingFaultsSchema,
} from "@dyetrace/wire/console/practice-faults";
import type { FastifyInstance } from "fastify";

/** Faults of a standing practice site: put in and taken out while it stands. Only a practice site's controller has these. */
export function registerPracticeRoutes(app: FastifyInstance, site: PracticeSite): void {
  let standing: readonly { readonly number: number; readonly fault: PracticeFault }[] = [];
  let lastNumber = 0;
  const told = (): { standing: StandingFault[] } => ({
    standing: standing.map(({ number, fault }) => ({ number, fault: fault.fault, on: fault.on, with: sayRest(fault) })),
  });
  const queriers = [...site.graph.nodes.values()].filter(({ isQuerier }) => isQuerier).map(({ name }) => name);
  const kinds = explainFaults(site.graph, queriers.length === 0 && site.querier !== null ? [site.querier] : queriers);
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
      standing = [...standing, ...faults.map((fault) => ({ number: ++lastNumber, fault }))];
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
      const found = standing.find(({ number }) => String(number) === request.params.number);
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
