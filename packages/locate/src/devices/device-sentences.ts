import { type LinkSegment, planPlace } from "@dyetrace/site";
import { formatCount } from "@dyetrace/wire";
import { count, nameList } from "../finding/wording.ts";
import { type DeviceWitness, hasCome, isLost, type ReadCounter } from "./suspect-weights.ts";

/**
 * What the counters and tables show, as sentences for the evidence: where the streams were counted last, and where first not; and
 * the port that a table has not.
 */
export function deviceSentences(witness: DeviceWitness): string[] {
  return [...counterSentences(witness), ...tableSentences(witness)];
}

function counterSentences({ path, counters, lostFrames, sentFrames }: DeviceWitness): string[] {
  const last = counters.findLast(hasCome);
  const first = counters.find(isLost);
  const all = lostFrames >= sentFrames;
  const place = (counter: ReadCounter): string => sayPlace(path.segments[counter.link], counter);
  if (last !== undefined && first !== undefined && last.link === first.link && last.side === "out") {
    const segment = path.segments[last.link];
    const [from, to] = [planPlace(segment?.from.node ?? ""), planPlace(segment?.to.node ?? "")];
    const none = first.frames === 0 ? "none" : formatCount(first.frames);
    return [
      `${from} sent ${count(last.frames, "multicast frame")} out of port ${segment?.from.port} and ${to} counted ${none} of them coming in: the cable or its ports.`,
    ];
  }
  return [
    ...(last === undefined
      ? []
      : [`${place(last)} counted ${count(last.frames, "multicast frame")}: the streams came so far.`]),
    ...(first === undefined
      ? []
      : [
          `${place(first)} counted ${formatCount(first.frames)}${all ? "" : `, about ${formatCount(lostFrames)} fewer than were sent`}: they were lost before it.`,
        ]),
  ];
}

function sayPlace(segment: LinkSegment | undefined, { side }: ReadCounter): string {
  const end = side === "out" ? segment?.from : segment?.to;
  const way = side === "out" ? "out of" : "in at";
  return `${planPlace(end?.node ?? "")}, ${way} port ${end?.port},`;
}

function tableSentences({ path, tables }: DeviceWitness): string[] {
  const missing = tables.filter(({ isListed }) => !isListed);
  const [topmost] = missing;
  if (topmost === undefined) {
    const [listed] = tables;
    const segment = path.segments[listed?.link ?? -1];
    if (listed === undefined || segment === undefined) return [];
    const nodes = [...new Set(tables.map(({ link }) => planPlace(path.segments[link]?.from.node ?? "")))];
    return [
      `The group ${nodes.length === 1 ? "table" : "tables"} of ${nameList(nodes)} ${nodes.length === 1 ? "has" : "have"} the port towards ${path.listener}: its membership reports get there, so frames are lost and not reports.`,
    ];
  }
  return missing.map(({ link, group }) => {
    const segment = path.segments[link];
    return `${planPlace(segment?.from.node ?? "")}'s table has no entry for ${group} on port ${segment?.from.port}: the reports of ${path.listener} do not get there.`;
  });
}
