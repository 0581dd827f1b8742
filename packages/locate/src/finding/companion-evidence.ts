import type { ListenerObservation } from "../run/run-observations.ts";
import { count, nameList } from "./wording.ts";

/** With fewer packets a companion tells nothing. Common practice, no source. */
const FEWEST_PACKETS = 10;
/** A companion that lost less than this share is sound: it is as slow as a few packets a second. Common practice, no source. */
const SOUND_LOSS_RATIO = 0.02;

type Companion = NonNullable<ListenerObservation["companion"]>;
interface Tried {
  readonly host: string;
  readonly companion: Companion;
}

/** What became of slow unicast from the same source to the same hosts: if it fails too, the fault is not multicast's. */
export interface UnicastBeside {
  readonly sound: readonly Tried[];
  readonly poor: readonly Tried[];
}

export function unicastBeside(listeners: readonly ListenerObservation[]): UnicastBeside {
  const tried = listeners.flatMap(({ host, companion }): Tried[] =>
    companion === null || companion.sentPackets < FEWEST_PACKETS ? [] : [{ host, companion }],
  );
  const isSound = ({ companion }: Tried): boolean =>
    companion.receivedPackets >= (1 - SOUND_LOSS_RATIO) * companion.sentPackets;
  return { sound: tried.filter(isSound), poor: tried.filter((one) => !isSound(one)) };
}

export function companionEvidence({ sound, poor }: UnicastBeside): string[] {
  return [
    ...(poor.length === 0
      ? []
      : [`Unicast from the same source fails too: ${told(poor)}. So the fault is not multicast's.`]),
    ...(sound.length === 0
      ? []
      : [
          `Unicast from the same source comes through: ${told(sound)}. So cable and ports are good, and the fault is multicast's.`,
        ]),
  ];
}

const told = (tried: readonly Tried[]): string =>
  nameList(
    tried.map(
      ({ host, companion }) => `${companion.receivedPackets} of ${count(companion.sentPackets, "packet")} to ${host}`,
    ),
  );
