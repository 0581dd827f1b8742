import { airCautions } from "../plan/air-cautions.ts";
import { cautions } from "../plan/cautions.ts";
import { unknownShares } from "../plan/confirm-load.ts";
import type { Looked, Say } from "./look-first.ts";

/** What a run may do to a live site, before it begins. */
export function sayCautions({ graph, first }: Pick<Looked, "graph" | "first">, say: Say): void {
  const hasWireless = [...graph.nodes.values()].some(({ kind }) => kind === "access-point");
  const air = airCautions(graph, first.scenario);
  const texts = cautions(first, hasWireless, unknownShares(graph, first.scenario), air);
  for (const text of texts) say({ kind: "step", text });
}
