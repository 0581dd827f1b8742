import Type from "@dyetrace/schema";
import type { FastifyInstance } from "fastify";
import type { StoreClock } from "../estate/store-clock.ts";
import type { ReportIntake } from "../intake/report-intake.ts";

const HealthSchema = Type.Object({
  serves: Type.Boolean({ description: "Whether requests and agents should be sent here." }),
  store: Type.Union([Type.Literal("reachable"), Type.Literal("unreachable")]),
  takesReports: Type.Boolean({ description: "False: the store takes none at present, and agents keep theirs." }),
});

/** `GET /health`, for a load balancer: 200 where this controller can serve, 503 where its store does not answer. Asks nothing. */
export function registerHealth(
  app: FastifyInstance,
  clock: Pick<StoreClock, "isReachable">,
  intake: Pick<ReportIntake, "isTroubled">,
): void {
  app.get(
    "/health",
    {
      config: { needs: "nobody", rateLimit: false },
      schema: {
        summary: "Whether this controller can serve, for a load balancer",
        response: { 200: HealthSchema, 503: HealthSchema },
      },
    },
    (_request, reply) => {
      const serves = clock.isReachable;
      return reply
        .status(serves ? 200 : 503)
        .header("cache-control", "no-store")
        .send({ serves, store: serves ? "reachable" : "unreachable", takesReports: !intake.isTroubled });
    },
  );
}
