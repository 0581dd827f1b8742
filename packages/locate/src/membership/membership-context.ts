import type { AddressFamily } from "../run/address-family.ts";
import type { MembershipTimers } from "../run/run-observations.ts";
import type { Leave } from "./leave-cut.ts";
import type { LeaveWitness } from "./leave-signs.ts";
import type { QueryView } from "./query-view.ts";
import type { IsDrawn } from "./wrong-querier.ts";

/** What a run says about memberships, for telling why something stopped. */
export interface MembershipContext {
  readonly leaves: readonly Leave[];
  readonly leaveSigns: LeaveWitness;
  readonly queries: QueryView;
  readonly timersOf: (family: AddressFamily) => MembershipTimers;
  /** Worked out when it is asked for. */
  readonly drawn: () => IsDrawn;
}
