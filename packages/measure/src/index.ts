export { type DelayDistribution, delayDistribution } from "./membership/delay-distribution.ts";
export { type JoinDelay, type JoinObservation, joinDelay } from "./membership/join-delay.ts";
export { type LeaveDelay, type LeaveObservation, leaveDelay } from "./membership/leave-delay.ts";
export { type MembershipEffect, membershipEffect } from "./membership/membership-effect.ts";
export { type MembershipTimers, membershipTimers } from "./membership/membership-timers.ts";
export {
  type FamilyMembership,
  type MembershipNotice,
  type MembershipView,
  type PimNeighbour,
  viewMembership,
} from "./membership/membership-view.ts";
export { type OwnMembershipQuery, ownMembershipNs } from "./membership/own-membership.ts";
export { electQuerier } from "./membership/querier-election.ts";
export { type QuerierSeen, queriersSeen } from "./membership/querier-seen.ts";
export { isProxySource, type QueryAcceptance, queryAcceptance } from "./membership/query-acceptance.ts";
export { mergeSequenceRanges, type SequenceRange, SequenceRanges } from "./membership/sequence-ranges.ts";
