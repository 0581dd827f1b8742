export { WINDOW_PACKETS } from "./arrival-ring.ts";
export { type BurstGapSummary, summariseBurstGaps } from "./burst-gap.ts";
export { PDV_WINDOW_NS } from "./delay-variation.ts";
export { classifyPayload, type PayloadKind } from "./follow/classify-payload.ts";
export { joinNameBlocks, type NameBlock, type Names, readNames, thinNames, writeNames } from "./follow/name-block.ts";
export { NameList } from "./follow/name-list.ts";
export { type NumberedNames, numberNames } from "./follow/number-names.ts";
export { isSelected, payloadDigest } from "./follow/payload-digest.ts";
export { type FollowFormat, ProductionFollower, type ProductionPart } from "./follow/production-follower.ts";
export { RateFollower, type RateReceipt } from "./follow/rate-follower.ts";
export type { RtpFlowPart } from "./follow/rtp-flow.ts";
export { RtpFlows } from "./follow/rtp-flows.ts";
export { RtpFollower, type RtpFollowerOptions, type RtpReceipt, type RtpRecorded } from "./follow/rtp-follower.ts";
export { emptyRtpHeader, type RtpHeader, readRtpHeader } from "./follow/rtp-header.ts";
export { RtpSequence, type RtpSequenceVerdict, rtpFractionLost } from "./follow/rtp-sequence.ts";
export { mergeTsFlows, TsFlow, type TsFlowCounts } from "./follow/ts-flow.ts";
export {
  TS_LOSS_STATEMENT,
  TS_PACKET_BYTES,
  TS_SYNC_BYTE,
  type TsCounts,
  TsFollower,
  type TsPidCounts,
} from "./follow/ts-follower.ts";
export { InterarrivalJitter } from "./interarrival-jitter.ts";
export { EMPTY_HISTOGRAM, type HistogramData, LogHistogram, mergeHistograms, percentile } from "./log-histogram.ts";
export { interLossPeriodLengths, type LossPattern, lossPattern, noticeableLossRate } from "./loss-pattern.ts";
export { type DelayDistribution, delayDistribution } from "./membership/delay-distribution.ts";
export { type DelayLine, type DelayTable, delayTables } from "./membership/delay-table.ts";
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
  type WatchedTime,
} from "./membership/membership-view.ts";
export { type OwnMembershipQuery, ownMembershipNs } from "./membership/own-membership.ts";
export { electQuerier } from "./membership/querier-election.ts";
export { type QuerierSeen, queriersSeen } from "./membership/querier-seen.ts";
export { isProxySource, type QueryAcceptance, queryAcceptance } from "./membership/query-acceptance.ts";
export { mergeSequenceRanges, type SequenceRange, SequenceRanges } from "./membership/sequence-ranges.ts";
export { unbrokenWatchNs } from "./membership/unbroken-watch.ts";
export { mergeReceipts } from "./merge-receipts.ts";
export {
  judgeProportion,
  type LimitVerdict,
  type Proportion,
  proportionBounds,
  trialsToDecide,
  trialsWithoutHit,
} from "./proportion/judge-proportion.ts";
export { countRanges, intersectRanges, lostSequenceRanges, subtractRanges } from "./range-arithmetic.ts";
export { mergeFollowed } from "./report/merge-followed.ts";
export { hasMembershipChange, mergeIntervalReports } from "./report/merge-interval-reports.ts";
export { mergeWatcherReports } from "./report/merge-watcher-reports.ts";
export { narrowToFinding, narrowToGroup } from "./story/narrow-story.ts";
export { movesIn, type WifiMove } from "./story/roams.ts";
export { type StoryLine, storyLines } from "./story/story-lines.ts";
export { StoryNotes, type StoryStream } from "./story/story-notes.ts";
export { type StorySetting, tellStory } from "./story/tell-story.ts";
export type { SiteTimers } from "./story/timer-values.ts";
export { drawStory, type StoryPicture, type StoryView } from "./story-picture/draw-story.ts";
export type { Shape } from "./story-picture/picture-shape.ts";
export { storyKey } from "./story-picture/story-key.ts";
export {
  COARSE_RANGES,
  type CoarseLostRange,
  INTERVAL_RANGES,
  type LostRange,
  MERGED_RANGES,
  MERGED_SPANS,
  type Span,
  type StreamReceipt,
  type Stretch,
} from "./stream-receipt.ts";
export {
  COPY,
  FIRST_COPY,
  HELD,
  LATE,
  REORDER_TIME_NS,
  type Recorded,
  StreamTracker,
  type StreamTrackerOptions,
} from "./stream-tracker.ts";
export { type ReceiptSummary, type Spread, summariseReceipt } from "./summarise-receipt.ts";
