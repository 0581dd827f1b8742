import { classifyPayload, RtpFollower, StreamTracker, TsFollower } from "@dyetrace/measure";
import {
  AgentMessageSchema,
  decodeMembershipFrame,
  emptyTestPacket,
  layTestPacket,
  type MembershipMessage,
  parseMessage,
  readTestPacket,
  stampTestPacket,
} from "@dyetrace/wire";
import { readIgmp, readIgmp6 } from "../../../agent/src/sockets/linux/host-groups.ts";
import { readSocketAddress, SOCKET_ADDRESS_BYTES } from "../../../agent/src/sockets/linux/socket-address.ts";
import { FrameWatch } from "../../../agent/src/watcher/frame-watch.ts";
import {
  FF15_1234,
  hex,
  ipv4Frame,
  ipv6Frame,
  pseudoHeader,
  withChecksum,
} from "../../conformance/membership-frames.ts";
import { drawInteger, drawOne, type Random } from "../seeded-random.ts";
import { mutateText } from "./mutate.ts";
import { mutateBytes } from "./mutate-bytes.ts";
import type { Parser } from "./parser.ts";

const RUN = "00000000000000aa";
const SIZE = 200;
const IDENTITY = {
  runId: RUN,
  streamId: 1,
  senderId: 7,
  intervalNs: 1e6,
  ttl: 8,
  dscp: 34,
  isCompanion: false,
  contact: "network operations",
};

const GROUP = "ef c3 0a 04"; // 239.195.10.4
/** Payloads as RFC 2236 2, RFC 3376 4.1 and 4.2, RFC 3810 5.1 and 5.2 and RFC 7761 4.9.2 have them. */
const igmp = (text: string): number[] => ipv4Frame(withChecksum(hex(text), 2));
const mld = (text: string): number[] => {
  const bytes = hex(text);
  const [source, destination] = ["fe80000000000000 0000000000000001", "ff02000000000000 0000000000000016"];
  return ipv6Frame(withChecksum(bytes, 2, pseudoHeader(source, destination, bytes.length, 58)), {
    source,
    destination,
  });
};
const MEMBERSHIP: readonly (readonly number[])[] = [
  igmp(`16 00 00 00 ${GROUP}`),
  igmp(`17 00 00 00 ${GROUP}`),
  igmp(`11 64 00 00 ${GROUP} 0a 7d 00 01 c0 00 02 01`),
  igmp(`22 00 00 00 00 00 00 02 04 00 00 00 ${GROUP} 06 00 00 02 ${GROUP} c0 00 02 01 c0 00 02 02`),
  mld(`83 00 00 00 00 00 00 00 ${FF15_1234}`),
  mld(`82 00 00 00 27 10 00 00 ${FF15_1234} 0a 7d 00 01 ${"20 01 0d b8 0000 0000 0000 0000 0000 0001"}`),
  mld(`8f 00 00 00 00 00 00 01 04 00 00 01 ${FF15_1234} 20010db8 00000000 00000000 00000001`),
  ipv4Frame(withChecksum(hex("20 00 00 00  00 01 00 02 00 69  00 13 00 04 00 00 00 01  00 14 00 04 01 02 03 04"), 2), {
    protocol: 103,
    destination: "224.0.0.13",
  }),
].map((frame) => [...frame]);

/** What a watcher heard has to be something that its controller takes: else anybody on the network stops its reports. */
function tellMembership(message: MembershipMessage): void {
  parseMessage(
    AgentMessageSchema,
    JSON.parse(
      JSON.stringify({
        kind: "report",
        runId: RUN,
        stint: RUN,
        firstNumber: 1,
        lastNumber: 1,
        droppedReports: 0,
        isFinal: false,
        report: EMPTY_REPORT,
        watch: {
          sinceNs: 0,
          streams: [],
          membership: [{ atNs: 1, direction: "in", message }],
          unlistedMembership: 0,
          dropped: 0,
        },
      }),
    ),
    "What a watcher heard",
  );
}
const EMPTY_REPORT = {
  fromNs: 0,
  toNs: 1e9,
  listeners: [],
  senders: [],
  host: {
    udpRcvbufErrors: null,
    udpInErrors: null,
    udp6RcvbufErrors: null,
    udp6InErrors: null,
    interfaceRxDropped: null,
    interfaceRxErrors: null,
    interfaceTxDropped: null,
    interfaceTxErrors: null,
    softnetDropped: null,
    linkChanges: null,
    wallClockSteps: null,
  },
  sourcesStopped: null,
  totals: null,
};

/** Whole packets too, with any number and sender: those are measured. */
function makeTestPacket(random: Random): Uint8Array {
  const bytes = new Uint8Array(SIZE);
  const frame = new DataView(bytes.buffer);
  layTestPacket(frame, 0, SIZE, {
    ...IDENTITY,
    senderId: drawInteger(random, 0, 3),
    streamId: drawInteger(random, 0, 2),
  });
  const seq = drawOne(random, [drawInteger(random, 0, 5000), 0, 2 ** 32, 2 ** 53 - 1, drawInteger(random, 0, 2 ** 48)]);
  stampTestPacket(frame, bytes, 0, seq, drawInteger(random, 0, 0xffffffff), drawInteger(random, 0, 0xffffffff));
  return random() < 0.5 ? bytes : mutateBytes(bytes, random);
}

/** As a capture has it: Ethernet, IPv4, UDP, and a test packet. */
function makeTestFrame(random: Random): Uint8Array {
  const payload = [...makeTestPacket(random)];
  const udp = [0xbd, 0xec, 0xbd, 0xec, (payload.length + 8) >> 8, (payload.length + 8) & 0xff, 0, 0];
  const frame = ipv4Frame([...udp, ...payload], { protocol: 17, destination: "239.195.10.4", hasRouterAlert: false });
  return mutateBytes(Uint8Array.from(frame), random);
}

const RTP_HEAD = [0x80, 0x21, 0x12, 0x34, 0, 0, 0, 1, 0, 0, 0, 9];
const tsPacket = (counter: number): number[] => [0x47, 0x01, 0x00, 0x10 | counter, ...Array<number>(184).fill(0xff)];
function makeFlow(random: Random): readonly Uint8Array[] {
  const from = drawInteger(random, 0, 65_535);
  return Array.from({ length: 12 }, (_, index) => {
    const seq = (from + index) & 0xffff;
    const head = RTP_HEAD.with(2, seq >> 8).with(3, seq & 0xff);
    const payload = [...tsPacket(index & 15), ...tsPacket((index + 1) & 15)];
    const whole = Uint8Array.from(random() < 0.5 ? payload : [...head, ...payload]);
    return random() < 0.4 ? mutateBytes(whole, random) : whole;
  });
}

const KERNEL_IGMP =
  "Idx\tDevice    : Count Querier\tGroup    Users Timer\tReporter\n2\teth0      :     2      V3\n\t\t\t\t040AC3EF     1 0:00000000\t\t0\n";
const KERNEL_IGMP6 = "2    eth0            ff15000000000000000000000000000a     1 00000004 0\n";

export const PACKET_PARSERS: readonly Parser[] = [
  {
    name: "membership frames",
    share: 12,
    make: (random) => mutateBytes(Uint8Array.from(drawOne(random, MEMBERSHIP)), random),
    take: (made) => {
      const frame = made as Uint8Array;
      const view = new DataView(frame.buffer, frame.byteOffset, frame.byteLength);
      for (const length of [frame.length, frame.length >> 1]) {
        const message = decodeMembershipFrame(frame, view, length);
        if (message !== null) tellMembership(message);
      }
    },
  },
  {
    name: "test packets",
    share: 8,
    make: (random) => Array.from({ length: 8 }, () => makeTestPacket(random)),
    take: (made) => {
      const tracker = new StreamTracker({ mediaRateBps: 1e6, seesHostDrops: true });
      const packet = emptyTestPacket();
      for (const [index, bytes] of (made as readonly Uint8Array[]).entries()) {
        const verdict = readTestPacket(new DataView(bytes.buffer), bytes, 0, bytes.length, 0, 0, packet);
        if (verdict === "test") {
          tracker.record(packet.seq, packet.sentNs, index * 1e6, packet.sizeBytes, packet.senderId, 1, 0);
        }
      }
      tracker.finish();
    },
  },
  {
    name: "watched frames",
    share: 6,
    make: makeTestFrame,
    take: (made) => {
      const bytes = made as Uint8Array;
      const stream = { streamId: 1, group: "239.195.10.4", port: 48_620 };
      const watch = new FrameWatch({ runId: RUN, startMonotonicNs: 0, streams: [stream] });
      watch.take(new DataView(bytes.buffer), bytes, 0, bytes.length, 2, -1, 1e9);
      watch.take(new DataView(bytes.buffer), bytes, 0, bytes.length >> 1, 2, -1, 1e9);
    },
  },
  {
    name: "media of others",
    share: 3,
    make: makeFlow,
    take: (made) => {
      const [rtp, ts] = [new RtpFollower({ clockHz: null }), new TsFollower()];
      for (const [index, bytes] of (made as readonly Uint8Array[]).entries()) {
        classifyPayload(bytes);
        const recorded = rtp.record(bytes, 0, bytes.length, index * 1e6, 1, 0);
        if (recorded === "not-rtp") ts.record(bytes, 0, bytes.length);
        else ts.record(bytes, rtp.header.payloadAt, rtp.header.payloadBytes);
      }
      rtp.finish();
      ts.take();
    },
  },
  {
    name: "what the kernel says",
    share: 2,
    make: (random) => ({
      igmp: mutateText(KERNEL_IGMP, random),
      igmp6: mutateText(KERNEL_IGMP6, random),
      address: Uint8Array.from({ length: SOCKET_ADDRESS_BYTES }, (_, at) =>
        at === 0 ? drawOne(random, [2, 10, 1]) : at === 1 ? 0 : drawInteger(random, 0, 255),
      ),
    }),
    take: (made) => {
      const { igmp: four, igmp6: six, address } = made as { igmp: string; igmp6: string; address: Uint8Array };
      readIgmp(four, "eth0");
      readIgmp6(six, "eth0");
      readSocketAddress(new DataView(address.buffer), 0);
    },
  },
];
