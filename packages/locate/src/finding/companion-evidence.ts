import { proportionBounds, trialsWithoutHit } from "@dyetrace/measure";
import { COMPANION_PACKETS_PER_SECOND, formatCount } from "@dyetrace/wire";
import type { ListenerObservation } from "../run/run-observations.ts";
import { count, nameList, seconds } from "./wording.ts";

/** With fewer packets a companion tells nothing. Common practice, no source. */
const FEWEST_PACKETS = 10;
/** Unicast that surely loses more than this is not sound: every network loses a packet now and then. Common practice, no source. */
const FLOOR = 0.001;

/** How likely it may be that unicast is called sound and loses as much as the stream: a wrong word costs a day. Our choice, no source. */
const ERROR = 0.01;

type Companion = NonNullable<ListenerObservation["companion"]>;
interface Tried {
  readonly host: string;
  readonly companion: Companion;
}

/**
 * What became of slow unicast from the same source to the same hosts: if it fails too, the fault is not multicast's. Told
 * by intervals: a few packets that all came say little about a small loss.
 */
export interface UnicastBeside {
  /** It surely loses less than the stream, and not surely anything. */
  readonly sound: readonly Tried[];
  /** It surely loses, and maybe as much as the stream. */
  readonly poor: readonly Tried[];
  /** It surely loses, and surely less than the stream. */
  readonly slight: readonly Tried[];
  /** So few packets were sent that it may lose as much as the stream, or nothing. */
  readonly open: readonly Tried[];
  /** So many packets, none of them lost, would show that it is sound; null where no number would. */
  readonly tellingPackets: number | null;
}

/**
 * @param listeners that share the fault
 * @param lossRatio what they surely lost of the stream, at least
 */
export function unicastBeside(listeners: readonly ListenerObservation[], lossRatio: number): UnicastBeside {
  const tried = listeners.flatMap(({ host, companion }): Tried[] =>
    companion === null || companion.sentPackets < FEWEST_PACKETS ? [] : [{ host, companion }],
  );
  const kinds = tried.map(({ companion }) => kindOf(companion, lossRatio));
  // Each alone may say too little, and all together enough.
  const isSoundTogether = kinds.every((kind) => kind === "open") && kindOf(together(tried), lossRatio) === "sound";
  const of = (kind: CompanionKind): Tried[] => tried.filter((_, i) => kinds[i] === kind);
  return {
    sound: isSoundTogether ? tried : of("sound"),
    poor: of("poor"),
    slight: of("slight"),
    open: isSoundTogether ? [] : of("open"),
    tellingPackets: lossRatio <= 0 || lossRatio >= 1 ? null : trialsWithoutHit(lossRatio, ERROR),
  };
}

type CompanionKind = "sound" | "poor" | "slight" | "open";

function kindOf({ sentPackets, receivedPackets }: Companion, lossRatio: number): CompanionKind {
  const { low, high } = proportionBounds({ hits: sentPackets - receivedPackets, trials: sentPackets }, ERROR);
  const isLess = high < lossRatio;
  if (low > FLOOR) return isLess ? "slight" : "poor";
  return isLess ? "sound" : "open";
}

const together = (tried: readonly Tried[]): Companion => ({
  sentPackets: tried.reduce((sum, { companion }) => sum + companion.sentPackets, 0),
  receivedPackets: tried.reduce((sum, { companion }) => sum + companion.receivedPackets, 0),
});

export function companionEvidence({ sound, poor, slight, open, tellingPackets }: UnicastBeside): string[] {
  const lines: string[] = [];
  if (poor.length > 0)
    lines.push(`Unicast from the same source fails too: ${told(poor)}. So the fault is not multicast's.`);
  if (slight.length > 0) {
    lines.push(
      `Unicast from the same source loses as well, but less: ${told(slight)}. So it is not multicast's fault alone.`,
    );
  }
  if (sound.length > 0) {
    lines.push(
      `Unicast from the same source comes through: ${told(sound)}. So cable and ports are good, and the fault is multicast's.`,
    );
  }
  if (open.length > 0 && tellingPackets !== null) {
    const lastsMs = (tellingPackets * 1000) / COMPANION_PACKETS_PER_SECOND;
    lines.push(
      `Unicast from the same source: ${told(open)}. That is too little to say whether it loses as much: ${formatCount(tellingPackets)} packets without a loss would show that it does not (${seconds(lastsMs)} at ${COMPANION_PACKETS_PER_SECOND} packets/s).`,
    );
  }
  return lines;
}

const told = (tried: readonly Tried[]): string =>
  nameList(
    tried.map(
      ({ host, companion }) =>
        `${formatCount(companion.receivedPackets)} of ${count(companion.sentPackets, "packet")} to ${host}`,
    ),
  );
