import { planPlace } from "@dyetrace/site";
import type { DeviceObservation } from "../run/device-observations.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { isUsable } from "./counter-likelihood.ts";
import type { DeviceView, Side } from "./device-view.ts";
import { framesOf } from "./expected-frames.ts";
import { countedPath } from "./path-cuts.ts";

export interface StrangeCounters {
  readonly remarks: readonly string[];
  /** The same without the counters that agents know to be wrong. */
  readonly trusted: (devices: readonly DeviceObservation[]) => DeviceObservation[];
}

/** Fewer than this share of what came through: not a matter of times or of a frame here and there. Our choice, no source. */
const FAR_TOO_FEW = 0.9;
const LEAST_FRAMES = 20;

/** Counters on the way of a stream that came through whole, and that counted far fewer frames than came. */
export function strangeCounters(site: SiteIndex, view: DeviceView, streams: readonly StreamFacts[]): StrangeCounters {
  const wrong = new Map<string, string>();
  for (const facts of streams) {
    const { stream, tree, receipts } = facts;
    const sent = framesOf(facts);
    if (sent === null || stream.firstSentMs === null || stream.lastSentMs === null) continue;
    for (const { node, listener } of receipts) {
      const came = listener.receivedPackets;
      if (came < LEAST_FRAMES || came > sent) continue;
      for (const segment of countedPath(site, tree, node).segments) {
        for (const side of ["out", "in"] as const) {
          const count = view.counter(segment, side);
          if (count === null || !isUsable(count, stream.firstSentMs, stream.lastSentMs)) continue;
          if (count.frames >= FAR_TOO_FEW * came) continue;
          const end = side === "out" ? segment.from : segment.to;
          const device = planPlace(end.node);
          const key = keyOf(device, end.port, side);
          if (wrong.has(key)) continue;
          wrong.set(
            key,
            `${device} counted ${count.frames} multicast frames going ${side === "out" ? "out of" : "in at"} port ${end.port}, but ${listener.host} received ${came} of ${stream.stream} that way by the plan: that counter is not used. Either it counts something else, or the plan is wrong there.`,
          );
        }
      }
    }
  }
  return {
    remarks: [...wrong.values()],
    trusted: (devices) =>
      devices.map((device) => ({
        ...device,
        ports: device.ports.map((port) => ({
          ...port,
          in: wrong.has(keyOf(device.node, port.port, "in")) ? null : port.in,
          out: wrong.has(keyOf(device.node, port.port, "out")) ? null : port.out,
        })),
      })),
  };
}

const keyOf = (node: string, port: string, side: Side): string => `${node}:${port} ${side}`;
