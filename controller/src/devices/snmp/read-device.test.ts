import { parseAs } from "@dyetrace/wire";
import type { DeviceTarget } from "@dyetrace/wire/devices/device-access";
import type { DeviceReading } from "@dyetrace/wire/devices/device-reading";
import { DeviceReadingSchema } from "@dyetrace/wire/devices/device-reading";
import { expect, test } from "vitest";
import { integer, octetString, sequence } from "../../../../tests/simulation/devices/ber.ts";
import {
  answerFrom,
  type Behaviour,
  type PlayedDevice,
  playDevice,
  responseTo,
} from "../../../../tests/simulation/devices/played-device.ts";
import { switchObjects } from "../../../../tests/simulation/devices/played-switch.ts";
import { readDevice } from "./read-device.ts";
import type { ReadingBounds } from "./reading-bounds.ts";

/** Longer than any busy machine needs for what is answered at once. */
const PATIENT: ReadingBounds = {
  withinMs: 30_000,
  answerMs: 10_000,
  retries: 1,
  againMs: 20,
  mostAgain: 2,
  gapMs: 0,
  mostDatagrams: 2000,
  mostBytes: 4 * 1024 * 1024,
};
/** For devices that never give what is asked. */
const SHORT: ReadingBounds = { ...PATIENT, withinMs: 400, answerMs: 60 };
/** Far beyond what any of these readings may take, however busy the machine. */
const ENDED_MS = 25_000;
const target = (port: number, changes: Partial<DeviceTarget> = {}): DeviceTarget => ({
  node: "core",
  address: "127.0.0.1",
  port,
  access: { version: "2c", community: "quillfen" },
  ...changes,
});
const V3: DeviceTarget["access"] = {
  version: "3",
  user: "reader",
  auth: "sha256",
  authPassword: "a long password",
  privacy: "aes",
  privacyPassword: "another password",
};

async function readFrom(
  behave: Behaviour,
  changes: Partial<DeviceTarget> = {},
  bounds: ReadingBounds = PATIENT,
): Promise<{ readonly reading: DeviceReading; readonly tookMs: number; readonly questions: number }> {
  await using device: PlayedDevice = await playDevice(behave);
  const startMs = performance.now();
  const reading = await readDevice(target(device.port, changes), "all", bounds);
  // Whatever came in, what goes out is a reading by its own schema.
  parseAs(DeviceReadingSchema, JSON.parse(JSON.stringify(reading)), "MESSAGE_INVALID", "The reading");
  return { reading, tookMs: performance.now() - startMs, questions: device.questions.length };
}

const good: Behaviour = (question, reply) => reply(answerFrom(switchObjects())(question));
const whyOf = (reading: DeviceReading, part: string): string | undefined =>
  reading.unread.find((one) => one.part === part)?.why;

test("given a switch that answers well, then its tables are read as their MIBs lay them out", async () => {
  const { reading } = await readFrom(good);
  expect(reading).toMatchObject({
    node: "core",
    by: "snmp-v2c",
    systemName: "core",
    systemDescription: "A switch of three ports",
    upMs: 3_600_000, // TimeTicks are hundredths of a second (RFC 2578, section 7.1.8)
    chassis: "02:00:5e:10:00:00",
    neighbours: [
      {
        port: "1",
        chassis: "02:00:5e:20:00:00",
        portId: "24",
        systemName: "pier-east",
        capabilities: ["bridge"],
        addresses: ["192.0.2.9"],
      },
    ],
    forwarding: [{ vlan: 10, mac: "02:00:5e:10:01:07", port: "3", status: "learned" }],
    vlans: [{ vlan: 10, name: "hall", ports: ["1", "2", "3"], untagged: ["1", "2", "3"] }],
    groups: [{ vlan: 10, group: "01:00:5e:43:0a:04", ports: ["1", "3"] }],
    routerPorts: [{ vlan: 10, ports: ["1"] }],
    queriers: [{ port: "1", protocol: "igmp", address: "192.0.2.1", version: 3, queryIntervalS: 125 }],
    memberships: [{ port: "1", group: "239.195.10.4" }],
  });
  expect(reading.ports?.[0]).toMatchObject({
    name: "1",
    index: 101,
    number: 1,
    announcedAs: "1",
    alias: null,
    mac: "02:00:5e:10:00:01",
    speedBps: 1e9,
    up: true,
    duplex: "full",
    spanningTree: "forwarding",
    untaggedVlan: 10,
    counters: {
      inMulticast: 1140,
      outMulticast: 4_294_967_299,
      inErrors: 2,
      inDiscards: 5,
      outErrors: null,
      multicastBits: 64,
    },
  });
  expect(reading.ports?.map(({ up, spanningTree }) => [up, spanningTree])).toEqual([
    [true, "forwarding"],
    [false, "forwarding"],
    [true, "blocking"],
  ]);
  // What the switch has no table of is unknown, not none.
  expect(reading.routes).toBeNull();
  expect(whyOf(reading, "routes")).toBe("core gives no row of its multicast routes (IPMCAST-MIB).");
});

test("given nobody who answers, then the reading ends in time and says so", async () => {
  const { reading, tookMs } = await readFrom(() => {}, {}, SHORT);
  expect(whyOf(reading, "ports")).toBe(
    "core could not be read: it did not answer; are address and community right, and does it take them from here?",
  );
  expect(reading.ports).toBeNull();
  expect(tookMs).toBeLessThan(ENDED_MS);
});

test("given a port where nothing listens, then the system's word for it is told at once", async () => {
  const device = await playDevice(() => {});
  const { port } = device;
  await device[Symbol.asyncDispose]();
  const reading = await readDevice(target(port), "all", { ...SHORT, answerMs: 20_000, withinMs: 20_000 });
  expect(whyOf(reading, "ports")).toBe("core could not be read: nothing there takes SNMP (port unreachable).");
});

test("given a device whose community is another, then it does not answer, as RFC 1157 has it", async () => {
  const { reading } = await readFrom(
    (question, reply, from) => {
      if (question.community === "another") good(question, reply, from);
    },
    {},
    SHORT,
  );
  expect(whyOf(reading, "groups")).toMatch(
    /^core could not be read: it did not answer; are address and community right/,
  );
});

test("given a device that falls silent in the middle, then what came stands and the rest is unknown", async () => {
  let answers = 0;
  const { reading, tookMs } = await readFrom(
    (question, reply, from) => {
      if (answers++ < 4) good(question, reply, from);
    },
    {},
    { ...PATIENT, answerMs: 100 },
  );
  expect(tookMs).toBeLessThan(ENDED_MS);
  expect(reading.systemName).toBe("core");
  expect(reading.ports?.[0]?.counters.inMulticast).toBe(1140);
  expect(reading.arp).toBeNull();
  expect(whyOf(reading, "arp")).toBe(
    "core: not all of the addresses it knows (IP-MIB) could be read: it did not answer any more.",
  );
});

test("given a device that answers later than a reading may take, then the reading ends without it", async () => {
  const { reading, tookMs } = await readFrom(
    (question, reply, from) => void setTimeout(() => good(question, reply, from), 300).unref(),
    {},
    { ...SHORT, withinMs: 100, answerMs: 5000 },
  );
  expect(tookMs).toBeLessThan(ENDED_MS);
  expect(whyOf(reading, "ports")).toBe("core could not be read: it took longer than one reading may.");
});

test("given a table without an end, then it is cut where a reading ends, and said to be cut", async () => {
  let next = 0;
  const { reading, tookMs } = await readFrom((question, reply, from) => {
    if (!question.isBulk || !(question.oids[0] ?? "").startsWith("1.3.6.1.2.1.17.7.1.2.3.1.2")) {
      good(question, reply, from);
      return;
    }
    const rows = Array.from({ length: 36 }, () => {
      const arcs = [1, 0, 94, next >> 16, (next >> 8) & 255, next++ & 255];
      return { oid: `1.3.6.1.2.1.17.7.1.2.3.1.2.10.${arcs.join(".")}`, value: octetString([0x80]) };
    });
    reply(responseTo(question, rows));
  });
  expect(tookMs).toBeLessThan(ENDED_MS);
  expect(reading.groups).toHaveLength(8192);
  expect(reading.unread.find(({ part }) => part === "groups")).toMatchObject({
    isCut: true,
    why: "core: not all of its group table (Q-BRIDGE-MIB) could be read: it has more than 8192 rows.",
  });
});

test("given a device that says the same row again and again, then the walk ends and the table is cut", async () => {
  const { reading, questions } = await readFrom((question, reply, from) => {
    if (!question.isBulk || !(question.oids[0] ?? "").startsWith("1.3.6.1.2.1.17.7.1.2.3.1.2")) {
      good(question, reply, from);
      return;
    }
    reply(responseTo(question, [{ oid: "1.3.6.1.2.1.17.7.1.2.3.1.2.10.1.0.94.67.10.4", value: octetString([0x80]) }]));
  });
  expect(reading.groups).toEqual([{ vlan: 10, group: "01:00:5e:43:0a:04", ports: ["1"] }]);
  expect(whyOf(reading, "groups")).toBe(
    "core: not all of its group table (Q-BRIDGE-MIB) could be read: it does not advance, and says the same again.",
  );
  expect(questions).toBeLessThan(100);
});

test("given a device that answers each question with a flood, then no more is taken than agreed", async () => {
  const { reading, tookMs } = await readFrom(
    (question, reply) => {
      for (let count = 0; count < 400; count++) reply(sequence(integer(count), octetString(new Array(1000).fill(0))));
      good(question, reply, { address: "", family: "IPv4", port: 0, size: 0 });
    },
    {},
    { ...PATIENT, mostDatagrams: 60 },
  );
  expect(tookMs).toBeLessThan(ENDED_MS);
  expect(whyOf(reading, "arp")).toMatch(/it sends more than one reading may take\.$/);
});

test("given a device that answers with what is no SNMP, then the reading says so", async () => {
  const { reading } = await readFrom((_, reply) => reply([0x16, 0x03, 0x01, 0x02, 0x00]), {}, SHORT);
  expect(whyOf(reading, "ports")).toBe("core could not be read: it answers with something that is no SNMP.");
});

test("given a device that finds every answer too big, then it is asked for less, and then believed", async () => {
  const { reading, questions } = await readFrom((question, reply, from) => {
    if (question.isBulk && question.maxRepetitions > 1)
      reply(responseTo(question, [], 1)); // tooBig
    else good(question, reply, from);
  });
  expect(reading.groups).toEqual([{ vlan: 10, group: "01:00:5e:43:0a:04", ports: ["1", "3"] }]);
  expect(questions).toBeLessThan(300);
});

const GEN_ERR = 5; // RFC 3416, section 3
const NO_ACCESS = 6;

test("given a device that fails to answer once and answers a moment later, then it is asked again, and all of it is read", async () => {
  let failures = 0;
  const { reading } = await readFrom((question, reply, from) => {
    const isFirst = failures === 0 || (failures === 1 && question.isBulk);
    if (isFirst) failures++;
    if (isFirst) reply(responseTo(question, [], GEN_ERR));
    else good(question, reply, from);
  });
  expect(failures).toBe(2);
  expect(reading).toMatchObject({ systemName: "core", ports: [{ name: "1" }, { name: "2" }, { name: "3" }] });
  expect(reading.unread.map(({ part }) => part)).not.toContain("neighbours");
});

test("given a device that fails at one part of its tree, then the rest is read, and what it did is said", async () => {
  const isLldp = (oid: string): boolean => oid.startsWith("1.0.8802.");
  const { reading, questions } = await readFrom((question, reply, from) => {
    if (question.oids.some(isLldp)) reply(responseTo(question, [], GEN_ERR));
    else good(question, reply, from);
  });
  expect(reading).toMatchObject({ systemName: "core", neighbours: null });
  expect(reading.groups).toHaveLength(1);
  expect(whyOf(reading, "neighbours")).toMatch(
    /^core: not all of its neighbours \(LLDP-MIB\) could be read: it failed to answer.* \(genErr\)\.$/,
  );
  expect(questions).toBeLessThan(100);
});

test("given a device that fails at every question, then it is asked twice more, and that is said", async () => {
  const { reading, questions } = await readFrom((question, reply) => reply(responseTo(question, [], GEN_ERR)));
  expect(whyOf(reading, "ports")).toBe(
    "core could not be read: it failed to answer, and failed again when it was asked once more (genErr).",
  );
  expect(questions).toBeLessThan(12);
});

test("given a device that gives this community nothing, then it is not asked again, and the refusal is named", async () => {
  const { reading, questions } = await readFrom((question, reply) => reply(responseTo(question, [], NO_ACCESS)));
  expect(whyOf(reading, "ports")).toBe("core could not be read: it refused the question (noAccess).");
  expect(questions).toBeLessThan(10);
});

test("given an answer of version 3 to a question of version 2c, which makes the library throw, then the reading ends in words", async () => {
  const { reading } = await readFrom(
    (question, reply) =>
      reply(
        sequence(
          integer(3),
          sequence(integer(question.requestId), integer(65_507), octetString([1]), integer(3)),
          octetString(
            sequence(
              octetString([1, 2, 3, 4, 5]),
              integer(0),
              integer(0),
              octetString("x"),
              octetString(new Array(12).fill(0)),
              octetString(""),
            ),
          ),
          sequence(octetString(""), octetString(""), [0xa2, 11, 2, 1, 0, 2, 1, 0, 2, 1, 0, 48, 0]),
        ),
      ),
    {},
    SHORT,
  );
  expect(reading.ports).toBeNull();
  expect(whyOf(reading, "ports")).toMatch(/^core could not be read: /);
});

/** A message of version 3 without a signature (RFC 3412, section 6; RFC 3414, section 2.4). */
const unsigned = (messageId: number, pduTag: number, objects: readonly number[]): number[] => {
  const security = sequence(
    octetString([0x80, 0, 0, 0, 1, 2, 3, 4]),
    integer(1),
    integer(1000),
    octetString("reader"),
    octetString(""),
    octetString(""),
  );
  const [, ...pdu] = sequence(integer(1), integer(0), integer(0), sequence(objects));
  return sequence(
    integer(3),
    sequence(integer(messageId), integer(65_507), octetString([0]), integer(3)),
    octetString(security),
    sequence(octetString([0x80, 0, 0, 0, 1, 2, 3, 4]), octetString(""), [pduTag, ...pdu]),
  );
};
const reportOf = (counter: number): number[] => [
  ...sequence([6, 10, 0x2b, 6, 1, 6, 3, 15, 1, 1, counter, 0], integer(1, 0x41)),
];

test.each([
  [3, "it does not know this user"],
  [5, "the password or its kind (--auth) is wrong"],
  [6, "the privacy password or its kind is wrong"],
])(
  "given a device that reports usmStats %i (RFC 3414, section 5), then the reading says: %s",
  async (counter, words) => {
    let count = 0;
    const { reading } = await readFrom(
      ({ requestId }, reply) => reply(unsigned(requestId, 0xa8, reportOf(count++ === 0 ? 4 : counter))),
      { access: V3 },
    );
    expect(whyOf(reading, "ports")).toBe(`core could not be read: ${words}.`);
  },
);

test("given an answer without a signature to a user that must sign, then it is not believed (RFC 3414, section 3.2)", async () => {
  let count = 0;
  const name = sequence([6, 8, 0x2b, 6, 1, 2, 1, 1, 5, 0], octetString("somebody else"));
  const { reading } = await readFrom(
    ({ requestId }, reply) =>
      reply(
        count++ === 0
          ? unsigned(requestId, 0xa8, reportOf(4))
          : unsigned(requestId, 0xa2, [...name, ...name, ...name, ...name, ...name, ...name]),
      ),
    { access: V3 },
  );
  expect(reading.systemName).toBeNull();
  expect(whyOf(reading, "system")).toBe(
    "core could not be read: its answer is not signed and encrypted, so it may be somebody else's.",
  );
});

test("given a device that reports for ever that it is another engine, then the reading ends in time", async () => {
  let count = 0;
  const { tookMs, questions } = await readFrom(
    ({ requestId }, reply) => {
      count++;
      reply(unsigned(requestId, 0xa8, reportOf(4)));
    },
    { access: V3 },
    { ...SHORT, withinMs: 300, gapMs: 5 },
  );
  expect(tookMs).toBeLessThan(ENDED_MS);
  expect(questions).toBeLessThan(500);
  expect(count).toBe(questions);
});

test("given a device that refuses a user's password, then what is said of it bears no password", async () => {
  const { reading } = await readFrom(({ requestId }, reply) => reply(unsigned(requestId, 0xa8, reportOf(5))), {
    access: V3,
  });
  expect(JSON.stringify(reading)).not.toMatch(/password"|a long|another password/);
});
