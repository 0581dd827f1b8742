import { spawn } from "node:child_process";
import { mkdtempSync, readdirSync, readFileSync, rmSync, statSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { StreamTracker } from "@dyetrace/measure";
import { afterEach, beforeEach, expect, test } from "vitest";
import type { ReportMessage } from "./report-message.ts";
import { ReportSpool } from "./report-spool.ts";

const RUN = "00000000000000aa";
const STINT = "00000000000000cc";
const SECOND = 1e9;
const UNKNOWN_HOST = {
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
};

let folder = "";
beforeEach(() => {
  folder = mkdtempSync(path.join(tmpdir(), "dyetrace-spool-"));
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const open = (mostBytes = 1e9, onTrouble: (error: unknown) => void = () => {}): ReportSpool =>
  new ReportSpool({ folder, mostBytes, onTrouble });

/** Reports of a listener that gets ten packets a second but for the lost ones. */
function reports(count: number, lost: ReadonlySet<number> = new Set()): ReportMessage[] {
  const tracker = new StreamTracker({ mediaRateBps: 8000, seesHostDrops: false });
  return Array.from({ length: count }, (_, second): ReportMessage => {
    for (let i = 0; i < 10; i++) {
      const seq = second * 10 + i;
      if (!lost.has(seq)) tracker.record(seq, seq * 1e8, seq * 1e8 + 1000, 100, 7, 1, 0);
    }
    const membership = {
      joinRequestedNs: -1e9,
      firstPacketNs: null,
      lastPacketNs: null,
      leaveRequestedNs: null,
    };
    const foreign = {
      foreignPackets: 0,
      malformedPackets: 0,
      otherRunPackets: 0,
      otherStreamPackets: 0,
      misdirectedPackets: 0,
      sources: [],
    };
    const receipt = tracker.cut();
    return {
      kind: "report",
      runId: RUN,
      stint: STINT,
      firstNumber: second + 1,
      lastNumber: second + 1,
      droppedReports: 0,
      report: {
        fromNs: second * SECOND,
        toNs: (second + 1) * SECOND,
        listeners: [
          { streamId: 1, receipt, memberships: [membership], hostLostPackets: null, socketStreams: 1, foreign },
        ],
        senders: [],
        host: UNKNOWN_HOST,
        sourcesStopped: null,
        totals: null,
      },
      watch: null,
      isFinal: false,
    };
  });
}

function drain(spool: ReportSpool): ReportMessage[] {
  const messages: ReportMessage[] = [];
  for (let message = spool.next(); message !== null; message = spool.next()) messages.push(message);
  return messages;
}

const counts = (messages: readonly ReportMessage[]) => {
  const receipts = messages.flatMap(({ report }) => report.listeners.flatMap(({ receipt }) => receipt ?? []));
  return {
    firstCopies: receipts.reduce((sum, receipt) => sum + receipt.firstCopies, 0),
    lost: receipts.reduce((sum, receipt) => sum + receipt.lost, 0),
    gaps: receipts.flatMap((receipt) => receipt.spans.flatMap((span) => span.lost)),
  };
};

test("ReportSpool: given reports, then they come out in order, again after a reconnect, and go with their acknowledgement", () => {
  const spool = open();
  const all = reports(5);
  for (const message of all) spool.add(message);
  expect(drain(spool)).toEqual(all);
  expect(spool.underWay).toBe(5);
  spool.acknowledge(STINT, 2);
  spool.acknowledge(STINT, 2);
  spool.acknowledge("00000000000000dd", 5);
  expect(spool.underWay).toBe(3);
  spool.rewind();
  expect(drain(spool)).toEqual(all.slice(2));
  spool.acknowledge(STINT, 5);
  expect([spool.size, spool.sizeBytes]).toEqual([0, 0]);
  spool.add({ ...(all[0] as ReportMessage), firstNumber: 6, lastNumber: 6, isFinal: true });
  spool.acknowledge(STINT, 6);
  spool.add({ ...(all[0] as ReportMessage), runId: "00000000000000ab", stint: "00000000000000ee" });
  expect(readdirSync(folder).map((name) => name.replace(/^\d+-/, ""))).toEqual([
    "00000000000000ab-00000000000000ee.spool",
  ]);
});

test("ReportSpool: given a store that was put back from an older copy, then what it lacks goes out again, in order, also by the agent's next process", () => {
  const all = reports(6);
  const first = open();
  for (const message of all.slice(0, 5)) first.add(message);
  drain(first);
  first.acknowledge(STINT, 4);
  first.stored(RUN, new Map([[STINT, 2]]));
  expect(drain(first)).toEqual(all.slice(2, 5));
  first.acknowledge(STINT, 5);
  first.close();
  const next = open();
  const later = { ...all[5], stint: "00000000000000ee", firstNumber: 1, lastNumber: 1 } as ReportMessage;
  next.add(later);
  expect(drain(next)).toEqual([later]); // what is acknowledged is not sent again by itself
  next.acknowledge(later.stint, 1);
  next.stored("00000000000000ab", new Map());
  expect(drain(next)).toEqual([]);
  next.stored(RUN, new Map());
  expect(drain(next)).toEqual([...all.slice(0, 5), later]);
});

test("ReportSpool: given more acknowledged reports than a share of its room, then the oldest go, and what follows says how many are not there any more", () => {
  const all = reports(400);
  const bytes = all.reduce((sum, message) => sum + JSON.stringify(message).length, 0);
  const spool = open(bytes);
  for (const message of all) {
    spool.add(message);
    drain(spool);
    spool.acknowledge(STINT, message.lastNumber);
  }
  expect(spool.sizeBytes).toBe(0);
  const onDisk = readdirSync(folder).reduce((sum, name) => sum + statSync(path.join(folder, name)).size, 0);
  expect(onDisk).toBeLessThan(bytes / 2);
  spool.stored(RUN, new Map([[STINT, 10]]));
  const [oldest, ...rest] = drain(spool);
  expect(rest.length).toBeGreaterThan(40);
  expect(oldest?.firstNumber).toBeGreaterThan(100);
  expect(oldest?.droppedReports).toBe((oldest?.firstNumber ?? 0) - 11);
  expect(rest.every(({ droppedReports }) => droppedReports === 0)).toBe(true);
  expect(rest.at(-1)?.lastNumber).toBe(400);
});

test("ReportSpool: given a report that the controller will never have, then it does not go out again", () => {
  const all = reports(2);
  const spool = open();
  for (const message of all) spool.add(message);
  drain(spool);
  spool.discard(STINT, 1);
  spool.stored(RUN, new Map());
  expect(drain(spool)).toEqual([{ ...all[1], droppedReports: 1 }]);
});

test("ReportSpool: given a process that was killed in the middle of a write, then the next one sends all whole reports, the older stint first", () => {
  const all = reports(4);
  const first = open();
  for (const message of all.slice(0, 3)) first.add(message);
  // What kill -9 leaves behind: files as they are, and a line without its end.
  const [name] = readdirSync(folder);
  if (name === undefined) throw new Error("the spool has a file");
  const file = path.join(folder, name);
  writeFileSync(file, readFileSync(file, "utf8") + JSON.stringify(all[3]).slice(0, 100));
  const next = open();
  const later = { ...all[0], stint: "00000000000000ee" } as ReportMessage;
  next.add(later);
  expect(drain(next)).toEqual([...all.slice(0, 3), later]);
  next.acknowledge(STINT, 3);
  next.acknowledge(later.stint, 1);
  next.close();
  expect(drain(open())).toEqual([]);
});

test("ReportSpool: given reports that the version before wrote in full, then they come out in today's form", () => {
  const all = reports(2, new Set([3]));
  const asBefore = all.map((message) => {
    const listeners = message.report.listeners.map((listener) => {
      const { delayFactorMaxNs: maxNs, ...receipt } = listener.receipt ?? {};
      const delayFactor = maxNs == null ? null : { latestNs: maxNs, maxNs, sumNs: maxNs, intervals: 1 };
      return { ...listener, receipt: { ...receipt, fromNs: 0, toNs: 1e9, headLost: null, delayFactor } };
    });
    return JSON.stringify({ ...message, report: { ...message.report, listeners } });
  });
  writeFileSync(path.join(folder, `1-${RUN}-${STINT}.spool`), asBefore.map((line) => `${line}\n`).join(""));
  expect(drain(open())).toEqual(all);
});

test("ReportSpool: given less room than the reports need, then they are merged without losing a packet or a gap, and stay within it", () => {
  const lost = new Set([55, 56, 700, 701, 2000]);
  const all = reports(300, lost);
  const wholeBytes = all.reduce((sum, message) => sum + JSON.stringify(message).length + 1, 0);
  const spool = open(wholeBytes / 5);
  for (const message of all) {
    spool.add(message);
    expect(spool.sizeBytes).toBeLessThanOrEqual(wholeBytes / 5);
  }
  const out = drain(spool);
  expect(out.length).toBeLessThan(100);
  expect(counts(out)).toEqual(counts(all));
  expect(out.reduce((sum, message) => sum + message.droppedReports, 0)).toBe(0);
  // Every number once, in order.
  let next = 1;
  for (const { firstNumber, lastNumber } of out) {
    expect(firstNumber).toBe(next);
    next = lastNumber + 1;
  }
  expect(next).toBe(301);
});

test("ReportSpool: given reports that were sent already, then those are never merged, since the store may have them", () => {
  const all = reports(40);
  const spool = open(12 * JSON.stringify(all[20]).length);
  for (const message of all.slice(0, 5)) spool.add(message);
  expect(drain(spool)).toHaveLength(5);
  for (const message of all.slice(5)) spool.add(message);
  spool.rewind();
  expect(drain(spool).slice(0, 5)).toEqual(all.slice(0, 5));
});

test("ReportSpool: given no room even for merged reports, then the oldest are dropped and the next one says how many", () => {
  // Ten minutes each: nothing can be merged any further.
  const all = reports(200).map((message, i) => {
    const report = { ...message.report, fromNs: i * 600 * SECOND, toNs: (i + 1) * 600 * SECOND };
    return { ...message, report };
  });
  const spool = open(20 * JSON.stringify(all[100]).length);
  for (const message of all) spool.add(message);
  const out = drain(spool);
  const kept = out.reduce((sum, message) => sum + message.lastNumber - message.firstNumber + 1, 0);
  const dropped = out.reduce((sum, message) => sum + message.droppedReports, 0);
  expect(dropped).toBeGreaterThan(0);
  expect(kept + dropped).toBe(200);
  expect(out.at(-1)?.lastNumber).toBe(200);
});

test("ReportSpool: given a disk that takes nothing, then reports wait in memory, it is said once, and said when it is over", () => {
  const troubles: unknown[] = [];
  const spool = open(1e9, (error) => troubles.push(error === null ? "well" : (error as NodeJS.ErrnoException).code));
  const all = reports(3);
  spool.add(all[0] as ReportMessage);
  rmSync(folder, { recursive: true });
  writeFileSync(folder, ""); // no folder any more: a new stint's file can't be made
  expect(() => spool.add({ ...(all[1] as ReportMessage), stint: "00000000000000ee" })).not.toThrow();
  expect(drain(spool)).toHaveLength(2);
  expect(troubles).toEqual(["EEXIST"]);
  rmSync(folder);
  spool.add({ ...(all[2] as ReportMessage), stint: "00000000000000ee", firstNumber: 2, lastNumber: 2 });
  expect(troubles).toEqual(["EEXIST", "well"]);
});

test("ReportSpool: given a writer that is killed with SIGKILL again and again, then every report it said it had kept is there", async () => {
  const module = new URL("../../../dist/control/spool/report-spool.js", import.meta.url).href;
  const program = `
    const { ReportSpool } = await import(${JSON.stringify(module)});
    const spool = new ReportSpool({ folder: process.argv[1], mostBytes: 1e9, onTrouble: () => {} });
    const report = JSON.parse(process.argv[2]);
    for (let number = Number(process.argv[3]); ; number++) {
      spool.add({ ...report, firstNumber: number, lastNumber: number });
      if (number % 50 === 0) { process.stdout.write(number + "\\n"); await new Promise((done) => setImmediate(done)); }
    }`;
  let said = 0;
  for (let round = 0; round < 4; round++) {
    const first = said + 1;
    const child = spawn(
      process.execPath,
      ["--input-type=module", "-e", program, folder, JSON.stringify(reports(1)[0]), String(first)],
      { stdio: ["ignore", "pipe", "inherit"] },
    );
    await new Promise<void>((resolve) => {
      child.stdout.on("data", (chunk: Buffer) => {
        said = Number(chunk.toString().trim().split("\n").at(-1));
        if (said >= first + 100) child.kill("SIGKILL");
      });
      child.once("exit", () => resolve());
    });
    const spool = open();
    const kept = new Set(drain(spool).map((message) => message.lastNumber));
    for (let number = 1; number <= said; number++) expect(kept.has(number)).toBe(true);
    said = Math.max(...kept);
  }
});
