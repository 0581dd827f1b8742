export {
	type AgentTask,
	AgentTaskSchema,
	type TaskAction,
	TaskActionSchema,
	type TaskStream,
	TaskStreamSchema,
} from "./agent-task.ts";
export { crc32 } from "./crc32.ts";
export {
	describeFault,
	Fault,
	type FaultCode,
	type FilePlace,
} from "./fault.ts";
export {
	formatIpAddress,
	groupMac,
	type IpAddress,
	isMulticast,
	isSourceSpecific,
	parseIpAddress,
} from "./ip-address.ts";
export {
	DEFAULT_UDP_PORT,
	type DecodedTestPacket,
	emptyTestPacket,
	layTestPacket,
	type PacketVerdict,
	readTestPacket,
	stampTestPacket,
	TEST_PACKET_HEADER_BYTES,
	TEST_PACKET_MAX_BYTES,
	TEST_PACKET_MIN_BYTES,
	type TestStreamIdentity,
} from "./test-packet.ts";
export {
	formatDurationNs,
	formatRateBps,
	formatRatio,
	parseDurationNs,
	parseRateBps,
	parseRatio,
	parseSizeBytes,
} from "./units.ts";
export {
	type DataPath,
	readYamlDocument,
	type YamlDocument,
} from "./yaml-document.ts";
export { FileMistakes } from "./yaml-document-mistakes.ts";
export { checkAgainstSchema } from "./yaml-document-schema.ts";
