import { loadSitePlan } from "@dyetrace/site";
import { Fault } from "@dyetrace/wire";
import type { FastifyInstance } from "fastify";
import { renderExhibit } from "../report/picture.ts";
import { fileOf } from "../runs/json-lines.ts";
import type { Store } from "../store/store.ts";
import { stored } from "../store/stored.ts";

/** The picture has its styles in it, and nothing else may come with it. */
const POLICY = "default-src 'none'; style-src 'unsafe-inline'";

/** One finding as one picture at one address, for a ticket. Findings count from 1, as in the console's addresses. */
export function registerExhibit(app: FastifyInstance, store: Store): void {
  app.get<{ Params: { id: string; number: string } }>(
    "/api/console/runs/:id/exhibits/:number",
    { schema: { summary: "A finding as a picture", response: fileOf("image/svg+xml", "The picture") } },
    async (request, reply) => {
      const { id, number } = request.params;
      const { request: asked, report, runId } = await stored(store, () => store.runs.get(id));
      const index = /^[1-9][0-9]{0,3}$/.test(number) ? Number(number) - 1 : -1;
      const address = `${request.protocol}://${request.host}/#/findings/${runId}?finding=${index + 1}`;
      const graph = loadSitePlan(asked.site.text, asked.site.file);
      const picture = report === null || index < 0 ? null : renderExhibit(graph, report, index, address);
      if (picture === null) {
        throw new Fault(
          "RUN_UNKNOWN",
          `Run ${runId} has no finding ${number}`,
          "Findings count from 1, as on its page",
        );
      }
      return reply.header("content-security-policy", POLICY).type("image/svg+xml").send(picture);
    },
  );
}
