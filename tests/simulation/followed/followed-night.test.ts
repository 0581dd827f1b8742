import { EventEmitter } from "node:events";
import { readFileSync } from "node:fs";
import type { IntervalReport, RunReport } from "@dyetrace/wire";
import { Registry } from "prom-client";
import { describe, expect, test } from "vitest";
import type { RunEvidence } from "../../../controller/src/account/run-evidence.ts";
import { LiveBoard } from "../../../controller/src/console/live-board.ts";
import { replayRun } from "../../../controller/src/console/replay-run.ts";
import { matrixOf, trendsOf } from "../../../controller/src/history/trends.ts";
import { accountStretches } from "../../../controller/src/intake/account-stretches.ts";
import { countMinutes } from "../../../controller/src/intake/count-minutes.ts";
import { noteEpisodes } from "../../../controller/src/intake/note-episodes.ts";
import type { ReportIntake } from "../../../controller/src/intake/report-intake.ts";
import { findIncidents } from "../../../controller/src/night/find-incidents.ts";
import { followedLosses } from "../../../controller/src/night/followed-losses.ts";
import { summariseNight } from "../../../controller/src/night/morning/night-summary.ts";
import { packCompiledRun } from "../../../controller/src/plan/compiled-run-json.ts";
import { outlineRun } from "../../../controller/src/plan/outline-run.ts";
import { csvOfReceipts } from "../../../controller/src/report/csv/csv-report.ts";
import { renderNightSection } from "../../../controller/src/report/html-night.ts";
import { renderHtmlReport } from "../../../controller/src/report/html-report.ts";
import { junitOfRun } from "../../../controller/src/report/junit-report.ts";
import { renderNight } from "../../../controller/src/report/terminal-night.ts";
import type { RunRegistry } from "../../../controller/src/runs/run-registry.ts";
import { countListeners } from "../../../controller/src/service/metrics/listener-metrics.ts";
import type { RunRecord } from "../../../controller/src/store/run-record.ts";
import type { Store } from "../../../controller/src/store/store.ts";
import { sayStrip } from "../../../packages/console/src/live/strip-words.ts";
import { sayCounted, sayIncidents } from "../../../packages/console/src/night/night-words.ts";
import { worstMarks } from "../../../packages/picture/src/scene/replay-scene.ts";
import { seededRandom } from "../seeded-random.ts";
import { drawMedia, MEDIA_KINDS, type MediaKind, type MediaPacket } from "./draw-media.ts";
import { followMedia } from "./follow-media.ts";
import { accountOfFollowed, conclude, followedSite, followRun, lossOn } from "./follow-scene.ts";

const SECONDS = 6;
const HIT = "till-1";
const DEMO = readFileSync(new URL("../../../packages/practice/demo/quillfen.yaml", import.meta.url), "utf8");
const graph = followedSite(DEMO);
const site = {
  file: "quillfen.yaml",
  text: DEMO.replace("nodes:\n", "nodes:\n  encoder: { kind: host, agent: none, address: 10.4.0.9 }\n").replace(
    "links:\n",
    "links:\n  - core:11 -- encoder:eth0\n",
  ),
};
const run = followRun(graph, SECONDS);
/** What an ordinary run would be told by, and is false here. */
const SAYS_NO_LOSS =
  /nothing (was )?lost|none was lost|no loss|received all|all came|everything came|"lost":0\b|"lost": 0\b|\b0 lost/i;

const mediaOf = (kind: MediaKind): MediaPacket[] =>
  drawMedia(kind, { seconds: SECONDS + 4, packetsPerSecond: 150, random: seededRandom(1) }).map(({ bytes, atNs }) => ({
    bytes,
    atNs: atNs - 2e9,
  }));

function lossy(kind: MediaKind): RunEvidence {
  const comes = lossOn(graph, "encoder", new Map([[`hall-hub:2>${HIT}:eth0`, 0.05]]), seededRandom(7));
  return followMedia(run, mediaOf(kind), comes, { sender: "10.4.0.9" });
}

/** As the store has them: with what was worked out at the door. */
function storeOf(evidence: RunEvidence, endNs = run.endNs): Store {
  const told = [...evidence.agents].flatMap(([agent, { reports }]) => reports.map((report) => ({ agent, report })));
  const bodies = told.map(({ agent, report }) => ({ agent, body: { report, watch: null } }));
  const minutes = bodies.flatMap(({ agent, body }) => countMinutes(body).map((one) => ({ agent, ...one })));
  const episodes = bodies.flatMap(({ agent, body }) => [...noteEpisodes(agent, body)]);
  const stint = { stint: "a", fromNs: 0, toNs: endNs, isFinal: true, keptNumber: endNs / 1e9 };
  return {
    reports: {
      stints: async () => [...evidence.agents.keys()].map((agent) => ({ agent, ...stint })),
      minutes: async () => minutes,
      cells: async () => minutes.map(({ minute, ...one }) => ({ ...one, cell: minute })),
      episodePages: async function* (_run: string, _untilNs: number, _page: number, kinds?: readonly string[]) {
        yield episodes.filter(({ kind }) => kinds === undefined || kinds.includes(kind));
      },
      ofAgent: async function* (_run: string, agent: string) {
        for (const [index, one] of told.filter((each) => each.agent === agent).entries()) {
          yield { stint: "a", report: one.report, watch: null, firstNumber: index + 1, lastNumber: index + 1 };
        }
      },
    },
  } as unknown as Store;
}

const recordOf = (report: RunReport | null): RunRecord =>
  ({
    ...{ runId: run.runId, site: "Quillfen", scenario: "follow", createdAt: new Date(0).toISOString() },
    ...{ start: { wallMs: 0 }, endedAt: report === null ? null : new Date(run.endNs / 1e6).toISOString() },
    ...{ compiled: packCompiledRun(run), request: { site, scenario: { file: "follow.yaml", text: "" } }, report },
  }) as unknown as RunRecord;

const plain = (text: string): string => text;
/** The words beside the strips' signs say what each sign means, and not that it stands there. */
const withoutKey = (text: string): string => text.replace(/each cell .*?$/im, "").replace(/Hatched: .*?measured\./, "");

describe.each(MEDIA_KINDS)("a loss at one listener of a followed stream: %s", (kind) => {
  const evidence = lossy(kind);
  const store = storeOf(evidence);
  const account = accountOfFollowed(run, evidence, graph);
  const incidents = (): ReturnType<typeof findIncidents> =>
    findIncidents(store, account.run, graph, { followed: followedLosses(account) });
  const concluded = async (): Promise<RunReport> => ({
    ...conclude(run, evidence, graph),
    incidents: [...(await incidents())],
    stretches: [...(await accountStretches(store, run))],
  });

  test("the sums of minutes, from which strips, replay and metrics are told, have no such stream", async () => {
    expect(await store.reports.minutes(run.runId)).toEqual([]);
    const { strips } = await replayRun(store, {
      ...recordOf(await concluded()),
      compiled: packCompiledRun({ ...run, endNs: 600e9 }),
    });
    expect(strips.length).toBe(evidence.agents.size);
    for (const { marks } of strips) expect(marks).toMatch(/^n +$/); // joined for less than the first piece; nothing is known
    const replay = { startedAt: "", cellMs: 60_000, cells: 10, strips };
    expect(worstMarks(replay, "lobby")).toBe(" ".repeat(10));
  });

  test("given no loss that anybody could see, then the night says so, and not that nothing was lost", async () => {
    const report = await concluded();
    const whole = { ...report, receipts: report.receipts.map((one) => ({ ...one, lost: 0 })) };
    const night = await summariseNight(store, recordOf(whole), run.endNs / 1e6);
    const surfaces = [night.headline, renderNight(night, plain), renderNightSection(night).text, sayCounted(night)];
    for (const text of surfaces) {
      expect(text).toMatch(/found lost|found to be lost/);
      expect(withoutKey(text)).not.toMatch(SAYS_NO_LOSS);
    }
  });

  test("the night that goes on knows no loss, and says so in one sentence", async () => {
    const night = await summariseNight(store, recordOf(null), run.endNs / 1e6);
    expect(night).toMatchObject({ followsOthers: true, received: null, lost: null, hostLost: null, strips: [] });
    expect(night.headline).toContain("is known once the run is concluded");
    expect(night.summarised[0]).toContain("Streams of others were followed");
    const surfaces = [
      JSON.stringify(night),
      renderNight(night, plain),
      renderNightSection(night).text,
      `${sayCounted(night)} ${sayIncidents(night)}`,
    ];
    for (const text of surfaces) {
      expect(text).not.toMatch(SAYS_NO_LOSS);
      expect(text).toContain("known");
    }
  });

  test("the concluded night has the figures of the conclusion", async () => {
    const report = await concluded();
    const night = await summariseNight(store, recordOf(report), run.endNs / 1e6);
    const lost = report.receipts.reduce((sum, one) => sum + (one.lost ?? 0), 0);
    expect(lost).toBeGreaterThan(0);
    expect(night.lost).toBe(lost);
    expect(night.headline).toContain(`${lost} packets of the followed streams were found to be lost on the way`);
    expect(night.strips.reduce((sum, one) => sum + one.lost + (one.hostLost ?? 0), 0)).toBe(lost);
    // Without a sequence number nobody can say that all came: what was lost to all does not show.
    const atBest = report.streams.every(({ identifiedBy }) => identifiedBy === "sequence") ? "-" : "?";
    for (const { listener, cells } of night.listeners) expect(cells).toBe(`${listener === HIT ? "4" : atBest}`);
    expect(night.summarised[0]).toContain("the incidents of their losses");
    expect(night.summarised[1]).toMatch(
      new RegExp(`^Most was lost from 00:00 to 00:01 UTC: .* did not come to ${HIT}, `),
    );
    for (const text of [night.headline, renderNight(night, plain), renderNightSection(night).text]) {
      expect(withoutKey(text)).not.toMatch(SAYS_NO_LOSS);
    }
    expect(sayIncidents({ ...night, incidents: [] })).not.toBe("No incident.");
  });

  test("the losses are incidents as those of a stream of our own are: who, how many, and by which way", async () => {
    const report = await concluded();
    const losses = (report.incidents ?? []).filter(({ kind: what }) => what === "loss");
    expect(losses.reduce((sum, { count }) => sum + count, 0)).toBe(
      report.receipts.reduce((sum, { lost }) => sum + (lost ?? 0), 0),
    );
    for (const { agents, suspects, title } of losses) {
      expect(agents).toEqual([HIT]);
      expect(suspects).toContain(`hall-hub:2>${HIT}:eth0`);
      expect(title).toMatch(
        new RegExp(`^lobby.* lost [0-9]+ packets? at ${HIT} within .*, by way of hall-hub:2>${HIT}:eth0`),
      );
    }
    const spared = followMedia(run, mediaOf(kind), () => "comes", { sender: "10.4.0.9" });
    expect(
      await findIncidents(storeOf(spared), run, graph, {
        followed: followedLosses(accountOfFollowed(run, spared, graph)),
      }),
    ).toEqual([]);
  });

  test("stretches tell what came, and no loss", async () => {
    const { stretches = [] } = await concluded();
    expect(stretches.length).toBe(evidence.agents.size);
    for (const one of stretches) expect(one).toMatchObject({ judged: null, lost: null, hostLost: null });
    expect(stretches.every(({ received }) => (received ?? 0) > 0)).toBe(true);
  });

  test("trends, matrix, CSV and JUnit are of the conclusion, and incidents are no number", async () => {
    const report = await concluded();
    const { trends } = trendsOf([report], {});
    expect(trends.find(({ figure }) => figure === "incidents")?.values).toEqual([null]);
    const lostOf = (values: readonly (number | null)[]): number =>
      values.reduce<number>((sum, one) => sum + (one ?? 0), 0);
    const own = trends.filter(({ figure, listener }) => figure === "lost" && listener === HIT);
    expect(lostOf(own.flatMap(({ values }) => values))).toBeGreaterThan(0);
    const row = matrixOf(report).rows.find(({ listener }) => listener === HIT);
    expect(lostOf((row?.cells ?? []).map((cell) => cell?.lost ?? null))).toBeGreaterThan(0);
    const [head = "", ...lines] = csvOfReceipts(report).trim().split("\n");
    const [lostAt, listenerAt] = ["lost", "listener"].map((name) => head.trim().split(",").indexOf(name));
    const ofHit = lines.map((line) => line.split(",")).filter((cells) => cells[listenerAt ?? -1] === HIT);
    expect(lostOf(ofHit.map((cells) => Number(cells[lostAt ?? -1])))).toBeGreaterThan(0);
    expect(junitOfRun(report)).toContain("<failure");
    const html = renderHtmlReport({ report, record: recordOf(report), graph, night: null, sections: [], probes: [] });
    expect(html).not.toContain("<h2>Incidents</h2><p>None.</p>");
  });

  test("metrics count no packet of it", async () => {
    const register = new Registry();
    const [runs, intake] = [new EventEmitter(), new EventEmitter()];
    countListeners(register, runs as unknown as RunRegistry, intake as unknown as ReportIntake);
    runs.emit("progress", run.runId, { kind: "outline", outline: outlineRun(run, site) });
    for (const [agent, { reports }] of evidence.agents) {
      for (const report of reports)
        intake.emit("kept", { runId: run.runId, agent, minutes: countMinutes({ report, watch: null }) });
    }
    expect(await register.metrics()).not.toContain(`listener="`);
  });

  test("the live page tells the loss that numbers or counters show, and nothing of host drops, jitter and gaps where these tell nothing", () => {
    const board = new LiveBoard(outlineRun(run, site), graph, new Set());
    const reports: readonly IntervalReport[] = evidence.agents.get(HIT)?.reports ?? [];
    for (const report of reports) board.take(HIT, report, null);
    const figures = (board.series(HIT, run.streams[0]?.streamId ?? 0)?.figures ?? []).filter((one) => one !== null);
    if (kind === "undocumented UDP") {
      expect(figures).toEqual([]);
      const [{ marks } = { marks: "" }] = board.strips();
      expect(marks).toMatch(/^n{6}u*$/); // it comes until its listeners leave: neither whole nor untold
      expect(sayStrip(marks)).toBe("comes, losses not known");
      return;
    }
    expect(figures.reduce((sum, { lost }) => sum + lost, 0)).toBeGreaterThan(0);
    if (kind !== "MPEG-TS over UDP") return;
    for (const one of figures) expect(one).toMatchObject({ hostLost: null, jitterMs: null, longestGapMs: null });
  });

  test("a second in which nothing came is no second without loss", () => {
    const board = new LiveBoard(outlineRun(run, site), graph, new Set());
    const silent = lossy(kind)
      .agents.get(HIT)
      ?.reports.map(
        (report): IntervalReport => ({
          ...report,
          listeners: report.listeners.map((one) => ({
            ...one,
            receipt: one.receipt === null ? null : { ...one.receipt, received: 0, firstCopies: 0, receivedBytes: 0 },
          })),
        }),
      );
    for (const report of silent ?? []) board.take(HIT, report, null);
    const cells = board.drain().cells;
    expect(cells.length).toBeGreaterThan(0);
    for (const { figures } of cells) expect(figures).toBeNull();
  });
});

test.each(["MPEG-TS in RTP", "undocumented UDP"] as const)(
  "%s that loses in the second of three minutes, then the strips and the sentence say when, and the others have none",
  async (kind) => {
    const minutes = followRun(graph, 170);
    const media = drawMedia(kind, { seconds: 174, packetsPerSecond: 25, random: seededRandom(3) }).map(
      ({ bytes, atNs }) => ({
        bytes,
        atNs: atNs - 2e9,
      }),
    );
    const random = seededRandom(11);
    const isSecond = (packet: number): boolean => Math.floor((media[packet]?.atNs ?? 0) / 60e9) === 1;
    const evidence = followMedia(
      minutes,
      media,
      (agent, packet) => (agent === HIT && isSecond(packet) && random() < 0.1 ? "lost" : "comes"),
      { sender: "10.4.0.9" },
    );
    const report = conclude(minutes, evidence, graph);
    const store = storeOf(evidence, minutes.endNs);
    const record = {
      ...recordOf(report),
      compiled: packCompiledRun(minutes),
      endedAt: new Date(minutes.endNs / 1e6).toISOString(),
    };
    const night = await summariseNight(store, record, minutes.endNs / 1e6);
    const atBest = kind === "undocumented UDP" ? "?" : "-";
    for (const { listener, cells } of night.listeners) {
      expect(cells.slice(0, 3)).toBe(listener === HIT ? `${atBest}4${atBest}` : atBest.repeat(3));
    }
    expect(night.summarised[1]).toMatch(
      /^Most was lost from 00:01 to 00:02 UTC: [0-9]+ packets of lobby did not come to till-1/,
    );
    const hit = report.media
      ?.find(({ listener }) => listener === HIT)
      ?.overTime?.pieces.map((piece) => piece?.[1] ?? null);
    expect(hit?.slice(0, 3)).toEqual([0, report.receipts.find(({ listener }) => listener === HIT)?.lost, 0]);
  },
);
