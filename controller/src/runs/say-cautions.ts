import { hasRadio } from "@dyetrace/site";
import { airCautions } from "../plan/air-cautions.ts";
import { cautions } from "../plan/cautions.ts";
import { unknownShares } from "../plan/confirm-load.ts";
import type { Looked, Say } from "./look-first.ts";
import { asksForBursts } from "./send-bursts.ts";

/** What a run may do to a live site, before it begins. */
export function sayCautions({ graph, first, request }: Pick<Looked, "graph" | "first" | "request">, say: Say): void {
  const air = airCautions(graph, first.scenario);
  const texts = cautions(
    first,
    hasRadio(graph),
    unknownShares(graph, first.scenario),
    air,
    asksForBursts(request, first),
  );
  for (const text of texts) say({ kind: "step", text });
}
