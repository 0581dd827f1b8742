import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { mergeIntervalReports, mergeReceipts, ProductionFollower, StreamTracker } from "@dyetrace/measure";
import type { IntervalReport, RunReport } from "@dyetrace/wire";
import type { KeptHeaders } from "@dyetrace/wire/capture/kept-headers-schema";
import type { RunQuery } from "@dyetrace/wire/console/stored-run";
import type { Inventory } from "@dyetrace/wire/inventory/inventory-schema";
import { pino } from "pino";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import type { AgentSession } from "../../controller/src/agents/agent-session.ts";
import { countMinutes } from "../../controller/src/intake/count-minutes.ts";
import { joinBodies } from "../../controller/src/intake/join-bodies.ts";
import { noteEpisodes } from "../../controller/src/intake/note-episodes.ts";
import type { ReportMessage } from "../../controller/src/intake/prepare-report.ts";
import { ReportIntake } from "../../controller/src/intake/report-intake.ts";
import { upkeep } from "../../controller/src/runs/upkeep.ts";
import { MOST_INVENTORIES } from "../../controller/src/store/inventory-records.ts";
import { openDatabase, type StorePlace } from "../../controller/src/store/open-database.ts";
import type { Episode, KeptReport } from "../../controller/src/store/pack/kept-report.ts";
import { packBody, unpackBody } from "../../controller/src/store/pack/pack-body.ts";
import { DEFAULT_RETENTION } from "../../controller/src/store/retention.ts";
import { openStore, type Store } from "../../controller/src/store/store.ts";
import { type PostgresServer, startPostgres } from "./postgres-server.ts";

const RUN = "00000000000000aa";
const STINT = "00000000000000cc";
const SECOND = 1e9;
const HOST = {
  udpRcvbufErrors: 0,
  udpInErrors: 0,
  udp6RcvbufErrors: 0,
  udp6InErrors: 0,
  interfaceRxDropped: 0,
  interfaceRxErrors: 0,
  interfaceTxDropped: 0,
  interfaceTxErrors: 0,
  softnetDropped: 0,
  linkChanges: 0,
  wallClockSteps: 0,
};
const NO_FOREIGN = {
  foreignPackets: 0,
  malformedPackets: 0,
  otherRunPackets: 0,
  otherStreamPackets: 0,
  misdirectedPackets: 0,
  sources: [],
};
const REQUEST = { scenario: { file: "s.yaml", text: "" }, site: { file: "p.yaml", text: "" } };

/** Reports of one listener, ten packets a second, some lost. */
function reportsOf(agent: string, seconds: number, lost: ReadonlySet<number>): KeptReport[] {
  const tracker = new StreamTracker({ mediaRateBps: 8000, seesHostDrops: true });
  return Array.from({ length: seconds }, (_, second) => {
    for (let i = 0; i < 10; i++) {
      const seq = second * 10 + i;
      if (!lost.has(seq)) tracker.record(seq, seq * 1e8, seq * 1e8 + 1000, 100, 7, 1, 0);
    }
    const receipt = tracker.cut();
    const report: IntervalReport = {
      fromNs: second * SECOND,
      toNs: (second + 1) * SECOND,
      listeners: [
        {
          streamId: 1,
          receipt,
          memberships: [
            {
              joinRequestedNs: -1e9,
              firstPacketNs: null,
              lastPacketNs: null,
              leaveRequestedNs: null,
            },
          ],
          hostLostPackets: 0,
          socketStreams: 1,
          foreign: NO_FOREIGN,
        },
      ],
      senders: [],
      host: HOST,
      sourcesStopped: null,
      totals: null,
    };
    const body = { report, watch: null };
    return {
      runId: RUN,
      agent,
      stint: STINT,
      firstNumber: second + 1,
      lastNumber: second + 1,
      droppedReports: 0,
      mustFollow: false,
      isFinal: false,
      fromNs: report.fromNs,
      toNs: report.toNs,
      packed: packBody(body),
      minutes: countMinutes(body),
      episodes: noteEpisodes(agent, body),
    };
  });
}

/** Two seconds of a followed stream at a host that joined, and one at the same host once nobody there was a member. */
function followedReports(): KeptReport[] {
  return reportsOf("kiosk", 3, new Set()).map((kept, second) => {
    const follower = new ProductionFollower(null, 100, true);
    for (let i = 0; i < 10; i++) {
      const payload = Uint8Array.from({ length: 50 }, (_, at) => (second * 10 + i) * (at + 1));
      follower.take(payload, 0, 50, 50, second * SECOND + i * 1e8, 5, 0);
    }
    const { rtp, digest } = follower.cut(true);
    const { report } = unpackBody(kept.packed);
    const followed = { sources: ["10.4.0.9"], rtp, digest: { ...digest, names: [digest.names ?? []].flat() } };
    const watched = second < 2 ? {} : { watched: { isMember: false, unreadFrames: 3 } };
    const listeners = report.listeners.map((one) => ({ ...one, followed, ...watched }));
    const body = { report: { ...report, listeners }, watch: null };
    return { ...kept, packed: packBody(body), minutes: countMinutes(body), episodes: noteEpisodes("kiosk", body) };
  });
}

const inventoryOf = (id: string, second: number): Inventory =>
  ({
    formatVersion: 1,
    id,
    takenAt: new Date(Date.UTC(2026, 0, 1) + second * 1000).toISOString(),
    seenForMs: 1500.5,
    agents: [
      { agent: "kiosk", lookedMs: 1500.5 },
      { agent: "stand", lookedMs: null },
    ],
    groups: [{ group: "239.196.4.7", remarks: ["a clef \u{1d11e} and an umlaut \u00fc"] }],
  }) as unknown as Inventory;

const EMPTY_REPORT: ReportMessage = {
  kind: "report",
  runId: RUN,
  stint: STINT,
  firstNumber: 1,
  lastNumber: 1,
  droppedReports: 0,
  report: { fromNs: 0, toNs: SECOND, listeners: [], senders: [], host: HOST, sourcesStopped: null, totals: null },
  watch: null,
  isFinal: false,
};

const NUL: Episode = { kind: "loss", agent: "kiosk", streamId: 1, fromNs: 0, toNs: 1, count: 1, detail: "a\u0000b" };
/** What PostgreSQL answers with SQLSTATE 22021 (character not in repertoire) and 22P02 (invalid text representation). */
const SPOILT: Readonly<Record<string, Partial<KeptReport>>> = {
  kiosk: { episodes: [NUL] },
  stand: { episodes: [{ ...NUL, detail: "", count: 1e300 }] },
};

const reportOf = (runId: string): RunReport =>
  ({
    run: runId,
    verdict: "pass",
    startedAt: "2026-01-01T00:00:00.000Z",
    endedAt: "2026-01-01T00:10:00.000Z",
  }) as RunReport;

async function received(store: Store, agent: string): Promise<{ rows: number; firstCopies: number; lost: number }> {
  let [rows, firstCopies, lost] = [0, 0, 0];
  for await (const { report } of store.reports.ofAgent(RUN, agent)) {
    rows++;
    for (const { receipt } of report.listeners) {
      firstCopies += receipt?.firstCopies ?? 0;
      lost += receipt?.lost ?? 0;
    }
  }
  return { rows, firstCopies, lost };
}

/** The same tests for both databases. The second store of a place is what a controller finds after a restart. */
describe.each(["sqlite", "postgres"] as const)("store in %s", (kind) => {
  let server: PostgresServer | null = null;
  let folder = "";
  let places = 0;
  beforeAll(async () => {
    if (kind === "postgres") server = await startPostgres();
    else folder = mkdtempSync(path.join(tmpdir(), "dyetrace-store-"));
  });
  afterAll(async () => {
    await server?.[Symbol.asyncDispose]();
    if (folder !== "") rmSync(folder, { recursive: true });
  });
  const newPlace = (): StorePlace => {
    const name = `place_${places++}`;
    if (server !== null) return { kind: "postgres", url: server.database(name) };
    return { kind: "folder", folder: path.join(folder, name) };
  };
  const begin = async (place: StorePlace, now?: () => number): Promise<Store> => {
    const store = await openStore(place, now);
    await store.runs.add({
      runId: RUN,
      site: "Quillfen",
      scenario: "reach",
      request: REQUEST,
      endNs: 60e9,
      startAtMs: null,
      programVersion: "0",
      owner: "first",
    });
    return store;
  };

  test("keep: given reports that come twice, alone and in one batch, then each is counted once, also after reopening", async () => {
    const place = newPlace();
    const reports = reportsOf("kiosk", 10, new Set([13, 14]));
    {
      await using store = await begin(place);
      expect(await store.reports.keep(reports.slice(0, 6))).toEqual(Array(6).fill("kept"));
      expect(await store.reports.keep(reports.slice(4, 8))).toEqual(["known", "known", "kept", "kept"]);
    }
    await using store = await openStore(place);
    expect(await store.reports.keep(reports)).toEqual([...Array(8).fill("known"), "kept", "kept"]);
    expect(await received(store, "kiosk")).toMatchObject({ rows: 10, firstCopies: 98 });
    const [minute] = await store.reports.minutes(RUN);
    expect(minute).toMatchObject({ agent: "kiosk", streamId: 1, minute: 0, received: 98, lost: 2, hostLost: 0 });
    expect(await store.reports.episodes(RUN, 0, 1e12, 10)).toMatchObject([
      { kind: "loss", agent: "kiosk", streamId: 1, count: 2, fromNs: 12 * 1e8 + 1000, toNs: 15 * 1e8 + 1000 },
    ]);
    expect(await store.reports.stints(RUN)).toMatchObject([{ agent: "kiosk", keptNumber: 10, isFinal: false }]);
  });

  test("keep: given a report of no run here, or one that repeats a part, then it is told apart and nothing is stored of it", async () => {
    await using store = await begin(newPlace());
    const [one, two] = reportsOf("kiosk", 2, new Set());
    if (one === undefined || two === undefined) throw new Error("two reports were asked for");
    expect(await store.reports.keep([{ ...one, runId: "00000000000000bb" }])).toEqual(["unknown-run"]);
    expect(await store.reports.keep([one])).toEqual(["kept"]);
    expect(await store.reports.keep([{ ...two, firstNumber: 1 }])).toEqual(["overlap"]);
    expect(await received(store, "kiosk")).toMatchObject({ rows: 1 });
  });

  test("keep: given reports with values that no column of PostgreSQL takes, then through the intake all others are stored", async () => {
    await using store = await begin(newPlace());
    const intake = new ReportIntake(store, pino({ level: "silent" }));
    const unusable: string[] = [];
    intake.on("unusable", ({ name }) => unusable.push(name));
    const keep = store.reports.keep.bind(store.reports);
    // Past the schemas, which let none of it through: what a column refuses is what is tried here.
    store.reports.keep = (batch) => keep(batch.map((report) => ({ ...report, ...SPOILT[report.agent] })));
    for (const agent of ["gate", "kiosk", "lounge", "stand"]) {
      intake.take({ name: agent, send: () => undefined } as unknown as AgentSession, EMPTY_REPORT);
    }
    await intake.settle();
    await intake.close();
    expect(intake.isTroubled).toBe(false);
    const kept = (await store.reports.stints(RUN)).map(({ agent }) => agent);
    const isPostgres = kind === "postgres"; // a column of SQLite takes anything
    expect(kept).toEqual(isPostgres ? ["gate", "lounge"] : ["gate", "kiosk", "lounge", "stand"]);
    expect(unusable).toEqual(isPostgres ? ["kiosk", "stand"] : []);
  });

  test("keep: given a platform that does not tell host loss in one interval, then the minute's is unknown, not 0", async () => {
    await using store = await begin(newPlace());
    const [one, two] = reportsOf("kiosk", 2, new Set());
    if (one === undefined || two === undefined) throw new Error("two reports were asked for");
    await store.reports.keep([one]);
    await store.reports.keep([{ ...two, minutes: two.minutes.map((minute) => ({ ...minute, hostLost: null })) }]);
    expect(await store.reports.minutes(RUN)).toMatchObject([{ received: 20, hostLost: null }]);
  });

  test("cells: given minutes of two listeners, then the sums of each cell, whatever the cell's length", async () => {
    await using store = await begin(newPlace());
    await store.reports.keep([...reportsOf("kiosk", 150, new Set([55, 700])), ...reportsOf("lounge", 60, new Set())]);
    const cells = (await store.reports.cells(RUN, 2)).toSorted(
      (a, b) => a.agent.localeCompare(b.agent) || a.cell - b.cell,
    );
    expect(cells).toEqual([
      { streamId: 1, agent: "kiosk", cell: 0, received: 1198, lost: 2, hostLost: 0 },
      { streamId: 1, agent: "kiosk", cell: 1, received: 300, lost: 0, hostLost: 0 },
      { streamId: 1, agent: "lounge", cell: 0, received: 600, lost: 0, hostLost: 0 },
    ]);
  });

  test("rollUp: given 10 s and then 1 min, then fewer rows hold the same counts, gaps and maxima", async () => {
    await using store = await begin(newPlace());
    const lost = new Set([55, 56, 57, 900, 1500]);
    const reports = reportsOf("kiosk", 180, lost);
    await store.reports.keep(reports);
    const before = await received(store, "kiosk");
    const exact = reports.flatMap(({ packed }) =>
      unpackBody(packed).report.listeners.flatMap(({ receipt }) => receipt ?? []),
    );
    const steps = [
      { fromGrainNs: 0, toGrainNs: 10 * SECOND, beforeNs: 180 * SECOND },
      { fromGrainNs: 10 * SECOND, toGrainNs: 60 * SECOND, beforeNs: 150 * SECOND },
    ];
    let removed = 0;
    for (const step of steps) removed += await store.reports.rollUp(RUN, step, joinBodies);
    expect(await store.reports.rollUp(RUN, steps[0] as (typeof steps)[0], joinBodies)).toBe(0);
    const after = await received(store, "kiosk");
    expect(after).toEqual({ ...before, rows: 180 - removed });
    expect(after.rows).toBe(2 + 6); // two whole minutes, and six stretches of the third, which is not over
    const merged = [];
    for await (const { report } of store.reports.ofAgent(RUN, "kiosk")) {
      merged.push(...report.listeners.flatMap(({ receipt }) => receipt ?? []));
    }
    expect(merged.reduce(mergeReceipts)).toEqual(exact.reduce(mergeReceipts));
    expect(await store.reports.keep(reports.slice(170))).toEqual(Array(10).fill("known"));
  });

  test("runs: given a run from its start to its report, then lists, records and baselines tell it; a named one is kept", async () => {
    let nowMs = 1_000_000;
    await using store = await begin(newPlace(), () => nowMs);
    expect(await store.runs.unfinished()).toMatchObject([{ runId: RUN, state: "running", start: null }]);
    await store.runs.started(RUN, { wallMs: 5, controllerNs: 123.5, bootId: "b" }, { endNs: 60e9 });
    expect((await store.runs.get(RUN)).compiled).toEqual({ endNs: 60e9 });
    expect((await store.runs.get(RUN)).start).toEqual({ wallMs: 5, controllerNs: 123.5, bootId: "b" });
    await expect(store.labels.nameBaseline("before", RUN)).rejects.toMatchObject({ code: "RUN_UNFINISHED" });
    await store.runs.done(reportOf(RUN));
    await store.labels.nameBaseline("before", RUN);
    await store.labels.nameBaseline("before", RUN);
    expect(await store.labels.baseline("before")).toBe(RUN);
    await expect(store.labels.baseline("after")).rejects.toMatchObject({ code: "BASELINE_UNKNOWN" });
    await expect(store.runs.get("ff")).rejects.toMatchObject({ code: "RUN_UNKNOWN" });
    nowMs += 1;
    await store.runs.add({
      runId: "00000000000000bb",
      site: "Quillfen",
      scenario: "soak",
      request: REQUEST,
      endNs: 1,
      startAtMs: 9,
      programVersion: "0",
      owner: "first",
    });
    const list = await store.runs.list({ most: 10 });
    expect(list.map((run) => [run.runId, run.state, run.verdict, run.baselines])).toEqual([
      ["00000000000000bb", "scheduled", null, []],
      [RUN, "done", "pass", ["before"]],
    ]);
    await store.reports.keep(reportsOf("kiosk", 1, new Set()));
    expect(await store.runs.deleteEndedBefore(Number.MAX_SAFE_INTEGER)).toBe(0); // named, or not over
    await store.runs.failed("00000000000000bb", { code: "AGENT_MISSING", message: "gone", hint: "" });
    expect(await store.runs.deleteEndedBefore(Number.MAX_SAFE_INTEGER)).toBe(1);
  });

  test("labels: given tags, a note and names, then lists are filtered by them, and a named run is not deleted before its name", async () => {
    let nowMs = 1_000_000;
    await using store = await begin(newPlace(), () => nowMs);
    await store.runs.done(reportOf(RUN));
    nowMs = 2_000_000;
    const later = "00000000000000bb";
    await store.runs.add({
      runId: later,
      site: "Harbour",
      scenario: "soak",
      request: REQUEST,
      endNs: 1,
      startAtMs: null,
      programVersion: "0",
      owner: "first",
    });
    await store.labels.change(RUN, { note: "after the new firmware", addTags: ["core", "fw-2", "core"] });
    await store.labels.change(RUN, { removeTags: ["fw-2", "unknown"] });
    await expect(store.labels.change("ff", { note: "x" })).rejects.toMatchObject({ code: "RUN_UNKNOWN" });
    const many = Array.from({ length: 20 }, (_, tag) => `t${tag}`);
    await expect(store.labels.change(RUN, { note: "no", addTags: many })).rejects.toMatchObject({ code: "TOO_MANY" });
    expect(await store.runs.summary(RUN)).toMatchObject({ note: "after the new firmware", tags: ["core"] });
    const ids = async (query: RunQuery): Promise<string[]> => (await store.runs.list(query)).map(({ runId }) => runId);
    expect(await ids({})).toEqual([later, RUN]);
    expect(await ids({ tag: "core" })).toEqual([RUN]);
    expect(await ids({ verdict: "pass" })).toEqual([RUN]);
    expect(await ids({ site: "Harbour", scenario: "soak" })).toEqual([later]);
    expect(await ids({ since: new Date(1_500_000).toISOString() })).toEqual([later]);
    expect(await ids({ most: 1 })).toEqual([later]);

    await store.labels.nameBaseline("before", RUN);
    expect(await store.labels.baselines()).toMatchObject([{ name: "before", runId: RUN }]);
    await expect(store.runs.remove(later)).rejects.toMatchObject({ code: "RUN_BUSY" });
    await expect(store.runs.remove(RUN)).rejects.toMatchObject({ code: "RUN_NAMED" });
    await store.labels.removeBaseline("before");
    await expect(store.labels.removeBaseline("before")).rejects.toMatchObject({ code: "BASELINE_UNKNOWN" });
    await store.reports.keep(reportsOf("kiosk", 2, new Set()));
    await store.runs.remove(RUN);
    expect(await store.runs.find(RUN)).toBeNull();
    expect(await store.reports.stints(RUN)).toEqual([]);
    expect(await ids({ tag: "core" })).toEqual([]);
  });

  test("upkeep: given more finished runs than one page has, days old, then every one of them is rolled up, once", async () => {
    await using store = await begin(newPlace(), () => 0);
    const runIds = [RUN, ...Array.from({ length: 30 }, (_, run) => (run + 1).toString(16).padStart(16, "0"))];
    for (const runId of runIds) {
      if (runId !== RUN) {
        await store.runs.add({
          runId,
          site: "Quillfen",
          scenario: "soak",
          request: REQUEST,
          endNs: 1,
          startAtMs: null,
          programVersion: "0",
          owner: "first",
        });
      }
      await store.runs.done(reportOf(runId));
      await store.reports.keep(reportsOf("kiosk", 12, new Set()).map((report) => ({ ...report, runId })));
    }
    const aWeekLater = Date.parse("2026-01-08T00:00:00.000Z");
    await upkeep(store, { ...DEFAULT_RETENTION, runsNs: null }, aWeekLater);
    expect(await store.reports.toRollUp(100)).toEqual([]);
    for (const runId of runIds) {
      let rows = 0;
      for await (const _ of store.reports.ofAgent(runId, "kiosk")) rows++;
      expect(rows).toBe(1);
    }
  });

  test("followed: given reports of a stream of others, joined and watched, then they come back as they were, alone and merged", async () => {
    await using store = await begin(newPlace());
    const reports = followedReports();
    expect(await store.reports.keep(reports)).toEqual(["kept", "kept", "kept"]);
    const read = [];
    for await (const { report } of store.reports.ofAgent(RUN, "kiosk")) read.push(report);
    expect(read).toEqual(reports.map(({ packed }) => unpackBody(packed).report));
    expect(read.map(({ listeners }) => listeners[0]?.followed?.digest.names.length)).toEqual([1, 1, 1]);
    expect(read[2]?.listeners[0]?.watched).toEqual({ isMember: false, unreadFrames: 3 });
    // Of a stream of others no loss is counted minute by minute: an agent by itself knows none.
    expect(await store.reports.minutes(RUN)).toEqual([]);
    const [first, second] = read;
    const merged = first === undefined || second === undefined ? null : mergeIntervalReports(first, second);
    expect(merged?.listeners[0]?.followed?.digest).toMatchObject({ packets: 20 });
  });

  test("inventories: given more than are kept, then the oldest go, and the others come back whole, the newest first", async () => {
    await using store = await openStore(newPlace());
    const ids = Array.from({ length: MOST_INVENTORIES + 2 }, (_, index) => `look-${index}`);
    for (const [index, id] of ids.entries()) await store.inventories.keep(inventoryOf(id, index));
    const list = await store.inventories.list();
    expect(list.map(({ id }) => id)).toEqual(ids.slice(2).reverse());
    expect(list[0]).toMatchObject({ agents: 1, groups: 1, seenForMs: 1500.5, takenAt: "2026-01-01T00:03:21.000Z" });
    expect(await store.inventories.get("look-7")).toEqual(inventoryOf("look-7", 7));
    await store.inventories.remove("look-7");
    for (const gone of ["look-0", "look-7"]) {
      await expect(store.inventories.get(gone)).rejects.toMatchObject({ code: "INVENTORY_UNKNOWN" });
    }
  });

  test("captures: given headers kept of a run, then they come back, and go with the run", async () => {
    await using store = await begin(newPlace());
    const capture = { run: RUN, agents: [{ agent: "kiosk", data: "AAEC/w==" }] } as unknown as KeptHeaders;
    await store.captures.keep(capture);
    await store.captures.keep(capture);
    expect(await store.captures.find(RUN)).toEqual(capture);
    await store.runs.done(reportOf(RUN));
    await store.runs.remove(RUN);
    expect(await store.captures.find(RUN)).toBeNull();
  });

  test("runs: given an unfinished run and two controllers that want it, then one gets it", async () => {
    await using store = await begin(newPlace());
    const [run] = await store.runs.unfinished();
    if (run === undefined) throw new Error("the run is unfinished");
    expect(await store.leases.takeOver(run.runId, "second", 10_000)).toBeNull(); // its conductor was heard just now
    await store.leases.letGo({ runId: run.runId, owner: run.owner, epoch: run.epoch });
    const won = await Promise.all(["second", "third"].map((one) => store.leases.takeOver(run.runId, one, 10_000)));
    expect(won.toSorted()).toEqual([2, null]);
    const failure = { code: "AGENT_LOST", message: "gone", hint: "" } as const;
    const late = store.runs.failed(run.runId, failure, { owner: run.owner, epoch: run.epoch });
    await expect(late).rejects.toMatchObject({ code: "RUN_ELSEWHERE" });
    expect(await store.leases.renew(run.owner, [run])).toEqual([]);
    expect((await store.runs.get(run.runId)).state).toBe("running");
  });

  test("openStore: given a store of a newer version, then it is refused with a sentence and not changed", async () => {
    const place = newPlace();
    await (await begin(place)).close();
    const { db } = await openDatabase(place);
    await db
      .insertInto("kysely_migration" as never)
      .values({ name: "999-from-the-future", timestamp: "2099" } as never)
      .execute();
    await db.destroy();
    await expect(openStore(place)).rejects.toMatchObject({ code: "STORE_TOO_NEW" });
    await expect(openStore(place)).rejects.toThrow(/999-from-the-future/);
  });
});
