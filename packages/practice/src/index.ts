export { execInPracticeSite } from "./exec-in-practice-site.ts";
export { chooseStandingSite, findPracticeSites, type StandingSite } from "./find-practice-sites.ts";
export { loadPracticeFaults } from "./load-practice-faults.ts";
export { type FaultPlay, playPracticeFaults } from "./play-practice-faults.ts";
export type {
  PacketChoice,
  PacketShare,
  PracticeFault,
  PracticeFaultOf,
  PracticeFaultParameters,
  PracticeFaultWindow,
  QuerierTimersChange,
  RateLimit,
} from "./practice-fault.ts";
export type {
  ExecOptions,
  ExecResult,
  MulticastRouting,
  PracticeAddress,
  PracticeProcess,
  PracticeSite,
  PracticeSiteOptions,
  SpawnOptions,
} from "./practice-site.ts";
export { PRACTICE_TIMERS, type PracticeTimers } from "./practice-timers.ts";
export { raisePracticeSite } from "./raise-practice-site.ts";
