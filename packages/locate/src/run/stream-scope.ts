import { type GroupScope, groupScope, parseIpAddress } from "@dyetrace/wire";
import type { StreamFacts } from "./stream-facts.ts";

/** How far the stream may go by its group's address. What cannot be read has no bound that is known. */
export function scopeOf({ stream }: Pick<StreamFacts, "stream">): GroupScope {
  const group = parseIpAddress(stream.group);
  return group === null ? "global" : groupScope(group);
}
