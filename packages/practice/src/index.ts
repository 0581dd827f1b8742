export { drawFaults, type FaultDraw } from "./faults/draw-faults.ts";
export { explainFaults, type FaultExplanation } from "./faults/explain-faults.ts";
export { loadPracticeFaults } from "./faults/load-practice-faults.ts";
export type {
  PacketChoice,
  PacketShare,
  PracticeFault,
  PracticeFaultOf,
  PracticeFaultParameters,
  PracticeFaultWindow,
  QuerierTimersChange,
  RateLimit,
} from "./faults/practice-fault.ts";
export type { ExecOptions, ExecResult, PracticeProcess, SpawnOptions } from "./host/practice-process.ts";
export type { MulticastRouting } from "./layout/multicast-routing.ts";
export { PRACTICE_TIMERS, type PracticeTimers } from "./layout/practice-timers.ts";
export { controllerOfSite } from "./site/controller-of-site.ts";
export { execInPracticeSite } from "./site/exec-in-practice-site.ts";
export { chooseStandingSite, findPracticeSites, type StandingSite } from "./site/find-practice-sites.ts";
export type { GroupTableEntry } from "./site/group-tables.ts";
export { type FaultPlay, playPracticeFaults } from "./site/play-practice-faults.ts";
export type { PracticeAddress, PracticeSite, PracticeSiteOptions } from "./site/practice-site.ts";
export { raisePracticeSite } from "./site/raise-practice-site.ts";
export type { PracticeDevice } from "./talk/device-secret.ts";
