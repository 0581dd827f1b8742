import type { SeqRange } from "../../../packages/locate/src/run/run-observations.ts";
import { drawInteger, type Random } from "../seeded-random.ts";
import { simulateRun } from "../simulate-run.ts";
import { NOTHING_WRONG, type SimulatedClass } from "./class-case.ts";
import { drawClassScene } from "./class-scene.ts";

/** 100 packets a second. */
const PACKETS = 1_000;
const PACKET_MS = 10;

/** A group that nobody has joined is flooded by most switches (RFC 4541, section 2.1.2, rule 3): its packets go everywhere. */
export const unregisteredFlood: SimulatedClass = {
  name: "unregistered-flood",
  about: "flooded while no join is in effect, at first or between memberships; nothing is wrong",
  variants: ["joined before", "joined as it begins", "joined later and left"],
  draw: (variant, random) => {
    if (variant === "joined later and left") return joinedLater(random);
    const joinedFromMs = variant === "joined before" ? -1_000 - 1_000 * random() : 150 * random();
    return flooded(random, joinedFromMs, null, [[0, drawInteger(random, 2, 20)]]);
  },
};

/** Everyone joins 1.5 to 3 s after the first packet and leaves again 1 to 3 s before the last one. */
function joinedLater(random: Random) {
  const joinedFromMs = 1_500 + 1_500 * random();
  const joinedToMs = PACKETS * PACKET_MS - 1_000 - 2_000 * random();
  const untilJoined = Math.ceil((joinedFromMs + 50 * random()) / PACKET_MS);
  // From the time on at which the leave has taken effect: at once, or after the last member query time.
  const afterLeave = Math.ceil((joinedToMs + (random() < 0.5 ? 5 : 2_000)) / PACKET_MS);
  const ranges: SeqRange[] = [[0, untilJoined]];
  if (afterLeave < PACKETS) ranges.push([afterLeave, PACKETS - 1]);
  return flooded(random, joinedFromMs, joinedToMs, ranges);
}

/** A sound site on which everyone sees these numbers of every stream, besides what comes by right. */
function flooded(random: Random, joinedFromMs: number, joinedToMs: number | null, ranges: readonly SeqRange[]) {
  const scene = drawClassScene(random, { bystanderShare: 0.5, joinedFromMs, packets: PACKETS });
  const quiet = simulateRun(scene.graph, scene.streams, [], random);
  const window: SeqRange = [
    Math.max(0, Math.ceil((joinedFromMs + 60) / PACKET_MS)),
    joinedToMs === null ? PACKETS - 1 : Math.floor(joinedToMs / PACKET_MS),
  ];
  const frames = ranges.reduce((sum, [first, last]) => sum + last - first + 1, 0);
  const run = {
    ...quiet,
    listeners: quiet.listeners.map((listener) =>
      joinedToMs === null ? listener : { ...listener, joinedToMs, window, receivedPackets: window[1] - window[0] + 1 },
    ),
    bystanders: quiet.bystanders.map((bystander) =>
      bystander.frames > 0
        ? bystander
        : {
            ...bystander,
            frames,
            ranges,
            firstMs: 0,
            lastMs: (ranges.at(-1)?.[1] ?? 0) * PACKET_MS,
          },
    ),
  };
  return { plan: scene.graph, world: scene.graph, run, truth: NOTHING_WRONG };
}
