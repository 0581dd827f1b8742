export type {
  PacketChoice,
  PacketShare,
  PracticeFault,
  PracticeFaultKind,
  PracticeFaultWindow,
  QuerierTimersChange,
  RateLimit,
} from "./practice-fault.ts";
export type {
  ExecOptions,
  ExecResult,
  PracticeAddress,
  PracticeProcess,
  PracticeSite,
  PracticeSiteOptions,
  SpawnOptions,
} from "./practice-site.ts";
export { PRACTICE_TIMERS, type PracticeTimers } from "./practice-timers.ts";
