import Type, { type Static } from "@dyetrace/schema";
import { Fault, type ProbeRun, ProbeRunSchema } from "@dyetrace/wire";
import { type ProbeOffer, ProbeOfferSchema } from "@dyetrace/wire/console/probe-offer";
import type { FastifyInstance } from "fastify";
import type { AgentRegistry } from "../agents/agent-registry.ts";
import type { Store } from "../store/store.ts";
import { stored } from "../store/stored.ts";
import type { PlanDesk } from "./plan-desk.ts";

const OfferQuerySchema = Type.Object({ finding: Type.Optional(Type.Integer({ minimum: 0, maximum: 100_000 })) });

/** What a probe of a run would be, and which there were. It is started as any run is, so that the same guards hold it. */
export function registerProbeRoutes(
  app: FastifyInstance,
  { store, registry, desk }: { readonly store: Store; readonly registry: AgentRegistry; readonly desk: PlanDesk },
): void {
  app.get<{ Params: { id: string }; Querystring: Static<typeof OfferQuerySchema> }>(
    "/api/runs/:id/probe",
    {
      schema: {
        summary: "The run that would part a finding's suspects best",
        querystring: OfferQuerySchema,
        response: { 200: ProbeOfferSchema },
      },
    },
    async ({ params, query }): Promise<ProbeOffer> => {
      const { report, request, runId } = await stored(store, () => store.runs.get(params.id));
      if (report === null) throw new Fault("RUN_UNFINISHED", `Run ${runId} has no report`, "Wait for its end");
      const agents = registry.list().map(({ name, capabilities: { guards } }) => ({ name, guards }));
      return desk.ask<ProbeOffer>({ kind: "probe", report, request, agents, finding: query.finding ?? null });
    },
  );
  app.get<{ Params: { id: string } }>(
    "/api/runs/:id/probes",
    { schema: { summary: "Runs that were made to part its suspects", response: { 200: Type.Array(ProbeRunSchema) } } },
    async ({ params }): Promise<readonly ProbeRun[]> => stored(store, () => store.runs.probesOf(params.id)),
  );
}
