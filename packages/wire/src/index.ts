export { type AddressRange, isInRange, networkOf, parseAddressRange } from "./address-range.ts";
export { type AgentFile, AgentFileSchema } from "./agent-file-schema.ts";
export { withoutControls } from "./bounds.ts";
export {
  type AgentTask,
  AgentTaskSchema,
  type TaskAction,
  TaskActionSchema,
  type TaskStream,
  TaskStreamSchema,
} from "./control/agent-task.ts";
export { type ClockEstimate, ClockEstimateSchema } from "./control/clock-estimate-schema.ts";
export {
  AGENT_LINK_PATH,
  AGENT_OLDEST_PROTOCOL,
  AgentHelloHeadSchema,
  type AgentMessage,
  AgentMessageSchema,
  CONTROL_BEAT_MS,
  CONTROL_MAX_BYTES,
  CONTROL_OLDEST_PROTOCOL,
  CONTROL_PROTOCOL,
  type ControllerMessage,
  ControllerMessageSchema,
  commonProtocol,
  isOfKnownKind,
  parseMessage,
  ReportHeadSchema,
} from "./control/control-messages.ts";
export { type Followed, FollowedSchema, FollowTaskSchema } from "./control/followed-schema.ts";
export { sayGroupUse, type UseInTheWay, usesInTheWay } from "./control/group-use-words.ts";
export { DEFAULT_GUARDS, type Guards, GuardsSchema } from "./control/guards-schema.ts";
export {
  type AgentCapabilities,
  AgentCapabilitiesSchema,
  type AgentInterface,
  AgentInterfaceSchema,
  type ForeignCount,
  ForeignCountSchema,
  type HostInterval,
  HostIntervalSchema,
  type IntervalReport,
  IntervalReportSchema,
  type ListenerInterval,
  ListenerIntervalSchema,
  type Membership,
  MembershipSchema,
  type Pacing,
  PacingSchema,
  type SenderInterval,
  SenderIntervalSchema,
  type SourceStop,
  SourceStopSchema,
} from "./control/interval-report-schema.ts";
export { HistogramSchema, type StreamReceiptMessage, StreamReceiptSchema } from "./control/receipt-schema.ts";
export { completeReport, shortenReceipt, shortenReport } from "./control/report-form.ts";
export { type RunOutline, RunOutlineSchema, type RunProgress, RunProgressSchema } from "./control/run-progress.ts";
export { type RunRequest, RunRequestSchema, type UserFile, UserFileSchema } from "./control/run-request.ts";
export {
  type GroupUse,
  GroupUseSchema,
  type WatchedStream,
  WatchedStreamSchema,
  type WatcherReport,
  WatcherReportSchema,
} from "./control/watcher-report-schema.ts";
export { greatestOf, leastOf } from "./extremes.ts";
export {
  describeFault,
  FAULT_CODES,
  Fault,
  type FaultCode,
  type FilePlace,
  faultCodeOf,
} from "./fault.ts";
export { followsOthers } from "./follows-others.ts";
export { groupBy } from "./group-by.ts";
export { type GroupLimits, type GroupRefusal, RESERVED_GROUPS_TEXT, refuseGroup } from "./group-guard.ts";
export { type GroupKinship, groupKey, groupKinship, keptRangeOf } from "./group-kinship.ts";
export { type GroupScope, groupScope } from "./group-scope.ts";
export { parseInstantMs } from "./instant.ts";
export {
  formatIpAddress,
  groupMac,
  type IpAddress,
  isMulticast,
  isSourceSpecific,
  parseIpAddress,
} from "./ip-address.ts";
export { decodeMembershipFrame } from "./membership/decode-membership-frame.ts";
export { MEMBERSHIP_HISTORY_MESSAGES, MEMBERSHIP_HISTORY_NS } from "./membership/membership-history.ts";
export {
  type GroupRecord,
  type GroupRecordType,
  type MalformedMembership,
  type MembershipEvent,
  MembershipEventSchema,
  type MembershipLeave,
  type MembershipMessage,
  MembershipMessageSchema,
  type MembershipQuery,
  type MembershipReport,
  type PimHello,
} from "./membership/membership-message.ts";
export { MOST_GROUP_USES } from "./most-group-uses.ts";
export { didYouMean, nearestName } from "./nearest-name.ts";
export { crc32 } from "./packet/crc32.ts";
export {
  COMPANION_PACKETS_PER_SECOND,
  COMPANION_PAYLOAD_BYTES,
  DEFAULT_UDP_PORT,
  type DecodedTestPacket,
  emptyTestPacket,
  layTestPacket,
  type PacketVerdict,
  readTestPacket,
  readTestPacketHead,
  stampTestPacket,
  TEST_PACKET_HEADER_BYTES,
  TEST_PACKET_MAX_BYTES,
  TEST_PACKET_MIN_BYTES,
  type TestStreamIdentity,
} from "./packet/test-packet.ts";
export { parseAs } from "./parse-message.ts";
export { isAmongPorts, type PortRange, parsePortRange } from "./port-range.ts";
export {
  PRACTICE_FAULT_KINDS,
  type PracticeFaultEntry,
  PracticeFaultEntrySchema,
  type PracticeFaultFile,
  PracticeFaultFileSchema,
  type PracticeFaultKind,
  type PracticeFaultName,
} from "./practice-fault-file.ts";
export { COMPARISON_WORDS, sayChance, saySame } from "./report/comparison-words.ts";
export { type ExpectationWords, expectationWords } from "./report/expectation-words.ts";
export type {
  FindingComparison,
  FindingEffect,
  FindingGlyph,
  FindingKindFacts,
} from "./report/finding-kind-facts.ts";
export { FINDING_KIND_NAMES, FINDING_KINDS, type FindingKind } from "./report/finding-kinds.ts";
export { HOST_COUNTER_WORDS, type HostCounter, movedCounters } from "./report/host-counter-words.ts";
export { incidentName } from "./report/incident-name.ts";
export { knownRateBps, packetTimeMs } from "./report/known-rate.ts";
export { MEDIA_METHOD, type MediaRow, mediaRows } from "./report/media-words.ts";
export {
  type Night,
  type NightIncident,
  type NightListener,
  type NightPattern,
  NightSchema,
  type NightStrip,
  type NightUnwatched,
} from "./report/night-schema.ts";
export { partialWords } from "./report/partial-words.ts";
export { QUERIER_COLUMNS, querierRows, querierSentences, sayQuerierState } from "./report/querier-audit-words.ts";
export { type ReportHost, ReportHostSchema } from "./report/report-host-schema.ts";
export { type ReportMedia, ReportMediaSchema } from "./report/report-media-schema.ts";
export {
  type ProbeRun,
  ProbeRunSchema,
  type ReportCauses,
  ReportCausesSchema,
  type ReportProbe,
  ReportProbeSchema,
} from "./report/report-probe-schema.ts";
export type { ReportQuerier, ReportQuerierAudit, ReportQuerierState } from "./report/report-querier-schema.ts";
export type {
  ReportDelay,
  ReportLossPattern,
  ReportReceipt,
  ReportReordering,
  ReportVariation,
} from "./report/report-receipt-schema.ts";
export {
  type ReportBystander,
  type ReportExpectation,
  type ReportFinding,
  type ReportIncident,
  type ReportSegment,
  type ReportStream,
  type ReportStretch,
  type RunReport,
  RunReportSchema,
  type Verdict,
  VerdictSchema,
} from "./report/report-schema.ts";
export type { ReportRoam, ReportWifi } from "./report/report-wifi-schema.ts";
export { findingKindFacts } from "./report/stored-finding-kind.ts";
export {
  type RunStory,
  RunStorySchema,
  type StoryData,
  type StoryLane,
  type StoryMark,
  type StoryMarkKind,
  type StoryRemark,
  type StoryTable,
  type StoryTimer,
  type StoryTimerKind,
} from "./report/story-schema.ts";
export { wifiWords } from "./report/wifi-words.ts";
export {
  DEFAULT_HOLD_NS,
  type LoadedScenario,
  loadScenario,
  type Scenario,
  type ScenarioOptions,
} from "./scenario/scenario-file.ts";
export type { ScenarioExpectation } from "./scenario/scenario-file-expect.ts";
export type {
  ScenarioParameter,
  ScenarioParameters,
} from "./scenario/scenario-file-parameters.ts";
export { SENDER_UNKNOWN } from "./scenario/scenario-file-production.ts";
export {
  type ScenarioFile,
  ScenarioFileSchema,
} from "./scenario/scenario-file-schema.ts";
export type { ScenarioAction, ScenarioVerb } from "./scenario/scenario-file-timeline.ts";
export type { ProductionStream, ScenarioStream } from "./scenario/scenario-stream.ts";
export {
  type SitePlanFile,
  SitePlanFileSchema,
  type SitePlanLink,
  SitePlanLinkSchema,
  type SitePlanNode,
  SitePlanNodeSchema,
  type SitePlanRadio,
} from "./site-plan-file.ts";
export {
  formatCount,
  formatDurationNs,
  formatRateBps,
  formatRatio,
  parseDurationNs,
  parseRateBps,
  parseRatio,
  parseSizeBytes,
  shown,
} from "./units.ts";
export {
  type DataPath,
  readYamlDocument,
  type YamlDocument,
} from "./yaml/yaml-document.ts";
export { FileMistakes } from "./yaml/yaml-document-mistakes.ts";
export { checkAgainstSchema } from "./yaml/yaml-document-schema.ts";
