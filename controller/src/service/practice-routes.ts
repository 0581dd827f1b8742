import { loadPracticeFaults, type PracticeFault, type PracticeSite } from "@dyetrace/practice";
import { type UserFile, UserFileSchema } from "@dyetrace/wire";
import type { FastifyInstance } from "fastify";

/** Faults of a standing practice site: put in and taken out while it stands. Only a practice site's controller has these. */
export function registerPracticeRoutes(app: FastifyInstance, site: PracticeSite): void {
  const standing: PracticeFault[] = [];
  app.get("/api/practice", () => ({
    site: site.graph.name,
    querier: site.querier,
    faults: standing,
  }));
  app.post<{ Body: UserFile }>("/api/practice/faults", { schema: { body: UserFileSchema } }, async (request) => {
    const faults = loadPracticeFaults(request.body.text, request.body.file, site.graph);
    await site.inject(faults);
    standing.push(...faults);
    return { faults: standing };
  });
  app.delete("/api/practice/faults", async () => {
    await site.lift(standing);
    standing.length = 0;
    return { faults: standing };
  });
}
