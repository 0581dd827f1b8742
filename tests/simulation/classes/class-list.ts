import { routedClasses } from "../routed/routed-classes.ts";
import { agentAway } from "./agent-away.ts";
import type { SimulatedClass } from "./class-case.ts";
import { clockOffsets } from "./clock-offsets.ts";
import { copies } from "./copies.ts";
import { hostDrops } from "./host-drops.ts";
import { lateStart } from "./late-start.ts";
import { lateStop } from "./late-stop.ts";
import { lossOfAllUdp } from "./loss-of-all-udp.ts";
import { lostQueries } from "./lost-queries.ts";
import { lostSource } from "./lost-source.ts";
import { lyingAgent } from "./lying-agent.ts";
import { oneFamily } from "./one-family.ts";
import { oneRatePolicer } from "./one-rate-policer.ts";
import { regularGaps } from "./regular-gaps.ts";
import { reportHoles } from "./report-holes.ts";
import { secondQuerier } from "./second-querier.ts";
import { sourceStall } from "./source-stall.ts";
import { unheardCut } from "./unheard-cut.ts";
import { unheardFlaps } from "./unheard-flaps.ts";
import { unregisteredFlood } from "./unregistered-flood.ts";
import { wrongPlans } from "./wrong-plan.ts";

/** All ways in which a world is not as declared that can be played on paper. */
export const SIMULATED_CLASSES: readonly SimulatedClass[] = [
  lateStart,
  unheardCut,
  unheardFlaps,
  lostQueries,
  hostDrops,
  ...wrongPlans,
  lyingAgent,
  clockOffsets,
  reportHoles,
  copies,
  sourceStall,
  oneRatePolicer,
  lossOfAllUdp,
  lateStop,
  agentAway,
  lostSource,
  unregisteredFlood,
  regularGaps,
  ...routedClasses,
  oneFamily,
  secondQuerier,
];
