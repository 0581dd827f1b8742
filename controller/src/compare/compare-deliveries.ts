import { formatRatio, type ReportWifi, type RunReport } from "@dyetrace/wire";
import type { Candidate } from "./comparison.ts";

/** A share of the air that moved by less does not matter (common practice, no source). */
const STEP = 0.01;

type Delivery = ReportWifi["deliveries"][number];

/**
 * Where an access point's stations got a stream in another way than before, once to all or a copy to each: one comparison for
 * the stream and the access point, by what it takes of the air. Nothing of it is chance: the way of delivery is seen on nearly
 * every frame, and the share follows from it by formula.
 */
export function compareDeliveries(before: RunReport, after: RunReport): readonly Candidate[] {
  const keyOf = ({ stream, accessPoint }: Delivery): string => `${stream} ${accessPoint}`;
  const now = after.wifi?.deliveries ?? [];
  return [...new Set(now.map(keyOf))].flatMap((key): Candidate[] => {
    const [was, is] = [before.wifi?.deliveries ?? [], now].map((all) => all.filter((one) => keyOf(one) === key));
    const [first] = is ?? [];
    if (was === undefined || is === undefined || first === undefined) return [];
    const changed = is.filter((one) => {
      const old = was.find(({ agent }) => agent === one.agent);
      return old !== undefined && old.delivered !== null && one.delivered !== null && old.delivered !== one.delivered;
    });
    if (changed.length === 0) return [];
    const [oldShare, newShare] = [airOf(was), airOf(is)];
    const agents = changed.map(({ agent }) => agent);
    const isKnown = oldShare !== null && newShare !== null;
    const difference = isKnown ? newShare - oldShare : 0;
    const isMaterial = Math.abs(difference) >= STEP;
    const share = isKnown
      ? `its share of the air by formula goes from ${formatRatio(oldShare)} to ${formatRatio(newShare)}`
      : "its share of the air is unknown for one of the runs";
    return [
      {
        what: "delivery over the air",
        stream: first.stream,
        listener: null,
        places: [first.accessPoint],
        before: words(was, oldShare),
        after: words(is, newShare),
        outcome: !isKnown ? "cant-tell" : !isMaterial ? "same" : difference > 0 ? "worse" : "better",
        tested: null,
        isGreater: difference > 0,
        isMaterial,
        isWithin: !isMaterial,
        isBarred: false,
        isBounded: false,
        allows: null,
        allowsMs: null,
        step: "1 percentage point",
        because: `${first.accessPoint} now sends ${first.stream} ${sayWay(changed)} to ${agents.slice(0, 6).join(", ")}${agents.length > 6 ? ` and ${agents.length - 6} more` : ""}; ${share}`,
      },
    ];
  });
}

/** As the stations of one access point got one stream; null where that is not known of one. */
function airOf(deliveries: readonly Delivery[]): number | null {
  if (deliveries.some(({ delivered }) => delivered === null || delivered === "both")) return null;
  const once = deliveries.find(({ delivered }) => delivered === "multicast")?.asMulticast.shareRatio ?? 0;
  const copies = deliveries.filter(({ delivered }) => delivered === "unicast");
  return copies.reduce((sum, { asUnicast }) => sum + asUnicast.shareRatio, once);
}

const WAYS = { multicast: "as multicast", unicast: "as unicast", both: "in both ways" } as const;

const sayWay = (deliveries: readonly Delivery[]): string =>
  [...new Set(deliveries.flatMap(({ delivered }) => (delivered === null ? [] : WAYS[delivered])))].join(" or ");

const words = (deliveries: readonly Delivery[], share: number | null): string =>
  `${sayWay(deliveries) || "unknown"}${share === null ? "" : `, ${formatRatio(share)} of the air`}`;
