import { planPlace } from "@dyetrace/site";
import { count } from "../finding/wording.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { isUsable } from "./counter-likelihood.ts";
import type { DeviceView } from "./device-view.ts";
import type { Disagreement } from "./disagreement.ts";
import { framesOf } from "./expected-frames.ts";
import { countedPath } from "./path-cuts.ts";

/** Fewer than this share of what came through: not a matter of times or of a frame here and there. Our choice, no source. */
const FAR_TOO_FEW = 0.9;
const LEAST_FRAMES = 20;

/** Counters on the way of a stream that came through, which counted far fewer frames than came. One for each port and way. */
export function countersThatLackFrames(
  site: SiteIndex,
  view: DeviceView,
  streams: readonly StreamFacts[],
): Disagreement[] {
  const found = new Map<string, Disagreement>();
  for (const facts of streams) {
    const { stream, tree, receipts } = facts;
    const sent = framesOf(facts);
    if (sent === null || stream.firstSentMs === null || stream.lastSentMs === null) continue;
    for (const { node, listener } of receipts) {
      const came = listener.receivedPackets;
      if (came < LEAST_FRAMES || came > sent) continue;
      for (const segment of countedPath(site, tree, node).segments) {
        for (const side of ["out", "in"] as const) {
          const counter = view.told(segment, side);
          if (counter === null || !isUsable(counter, stream.firstSentMs, stream.lastSentMs)) continue;
          if (counter.frames >= FAR_TOO_FEW * came) continue;
          const end = side === "out" ? segment.from : segment.to;
          const device = planPlace(end.node);
          const key = `${device}:${end.port} ${side}`;
          if (found.has(key)) continue;
          found.set(key, {
            device,
            distrusted: "counters",
            streams: [stream.stream],
            title: `${device}'s counters are not used: they show fewer frames than hosts behind it received`,
            sentence: `${device} counted ${count(counter.frames, "multicast frame")} going ${side === "out" ? "out of" : "in at"} port ${end.port}, but ${listener.host} received ${count(came, "packet")} of ${stream.stream} that way by the plan. Either it counts something else, or late, or the plan is wrong there.`,
          });
        }
      }
    }
  }
  return [...found.values()];
}
