import { EventEmitter } from "node:events";
import { readFileSync } from "node:fs";
import { fastify } from "fastify";
import { beforeAll, expect, test } from "vitest";
import { parse } from "yaml";
import { RunRegistry } from "../../controller/src/runs/run-registry.ts";
import { MOST_LISTENER_PAIRS } from "../../controller/src/service/metrics/listener-metrics.ts";
import { type MetricsSetup, registerMetrics } from "../../controller/src/service/metrics/metrics.ts";
import { MOST_SCENARIOS } from "../../controller/src/service/metrics/scenario-metrics.ts";

/**
 * What GET /metrics says, by the conventions of OpenMetrics 1.0 (sections "MetricFamily", "Counter", "Units and Base Units",
 * "Metric Names and Labels" and "StateSet"), in the older text format that every collector reads: there the name of a counter's
 * family bears its `_total` as well.
 */
const BASE_UNITS = ["seconds", "bytes", "ratio", "packets"];
/** Of the same quantities, which OpenMetrics advises against. */
const OTHER_UNITS = /_(ms|milliseconds|us|ns|minutes|hours|kb|mb|kilobytes|percent|kbit|bits)(_|$)/;

interface Family {
  readonly name: string;
  readonly type: string;
  readonly help: string;
  readonly samples: { readonly name: string; readonly labels: ReadonlyMap<string, string>; readonly value: number }[];
}

function readFamilies(text: string): Family[] {
  expect(text.endsWith("\n")).toBe(true);
  const families: Family[] = [];
  let help: readonly [string, string] | null = null;
  for (const line of text.split("\n").slice(0, -1)) {
    if (line === "") continue;
    const comment = /^# (HELP|TYPE) ([a-zA-Z_:][a-zA-Z0-9_:]*) (.+)$/.exec(line);
    if (comment?.[1] === "HELP") help = [comment[2] ?? "", comment[3] ?? ""];
    else if (comment?.[1] === "TYPE") {
      expect(help?.[0], line).toBe(comment[2]);
      families.push({ name: comment[2] ?? "", type: comment[3] ?? "", help: help?.[1] ?? "", samples: [] });
    } else {
      const sample = /^([a-zA-Z_:][a-zA-Z0-9_:]*)(?:\{(.*)\})? (\S+)$/.exec(line);
      if (sample === null) throw new Error(`No line of the format: ${line}`);
      const pairs = [...(sample[2] ?? "").matchAll(/([a-zA-Z_][a-zA-Z0-9_]*)="((?:[^"\\\n]|\\["\\n])*)"(?:,|$)/g)];
      expect(pairs.map(([whole]) => whole).join(""), line).toBe(sample[2] ?? "");
      const labels = new Map(pairs.map((pair) => [pair[1] ?? "", pair[2] ?? ""]));
      expect(labels.size, line).toBe(pairs.length);
      families.at(-1)?.samples.push({ name: sample[1] ?? "", labels, value: Number(sample[3]) });
    }
  }
  return families;
}

/** What is against the conventions, in words. */
function mistakesOf({ name, type, help, samples }: Family): string[] {
  const says = (isWrong: boolean, what: string): string[] => (isWrong ? [`${name}: ${what}`] : []);
  const suffixes = type === "histogram" ? ["_bucket", "_sum", "_count"] : [""];
  const keys = samples.map((sample) => `${sample.name} ${[...sample.labels].sort().join()}`);
  const base = name.replace(/_total$/, "");
  return [
    ...says(help.length < 5, "has no help"),
    ...says(!["counter", "gauge", "histogram"].includes(type), `is of type ${type}`),
    ...says(type === "counter" && !name.endsWith("_total"), "is a counter without _total"),
    ...says(type !== "counter" && name.endsWith("_total"), "has _total and is no counter"),
    ...says(type !== "histogram" && /_(bucket|sum|count)$/.test(name), "has a suffix of a histogram"),
    ...says(name !== name.toLowerCase() || name.includes("__") || name.includes(":"), "is no name in snake case"),
    ...says(OTHER_UNITS.test(name), "is in no base unit"),
    ...says(/_timestamp_/.test(name) && !base.endsWith("_timestamp_seconds"), "is an instant and not in seconds"),
    ...says(
      samples.some((one) => !suffixes.some((end) => one.name === `${name}${end}`)),
      "has samples of another name",
    ),
    ...says(new Set(keys).size < keys.length, "tells a series twice"),
    ...says(type === "counter" && samples.some(({ value }) => !(value >= 0)), "counts below nothing"),
    ...says(
      samples.some(({ labels }) => [...labels.keys()].some((key) => key.startsWith("__"))),
      "has a reserved label",
    ),
    ...says(
      samples.some(({ labels }) => labels.has("run") || labels.has("runId")),
      "has a label without a bound",
    ),
  ];
}

const runs = new RunRegistry();
const intake = new EventEmitter();
const scrape = async (): Promise<string> => (await app.inject({ url: "/metrics" })).body;
const app = fastify();
let families: readonly Family[] = [];

const outline = (names: readonly string[]) => ({
  kind: "outline",
  outline: { streams: names.map((name, streamId) => ({ streamId, name })) },
});
const done = (scenario: string, verdict: string, endedAt: string) => ({
  kind: "done",
  report: { site: 'Quillfen "north"', scenario, verdict, endedAt },
});
const kept = (runId: string, agent: string, streamId: number) =>
  intake.emit("kept", { runId, agent, minutes: [{ streamId, received: 90, lost: 10, hostLost: null }] });
const tell = (runId: string, progress: object) => runs.emit("progress", runId, progress as never);

beforeAll(async () => {
  registerMetrics(app, {
    registry: { list: () => [] },
    runs,
    intake: Object.assign(intake, { isTroubled: false }),
    audit: { events: new Map([["signed-in", 2]]) },
    door: { records: [{ name: "kiosk-1", until: "2027-01-01T00:00:00.000Z" }] },
    tokens: { list: () => [{ name: "collector", until: "2027-01-01T00:00:00.000Z" }] },
    stored: async () => [
      { site: "Quillfen", scenario: "soak", verdict: "pass", endedAt: "2026-01-01T06:30:00.000Z" },
      { site: "Quillfen", scenario: "soak", verdict: "fail", endedAt: "2025-12-31T06:30:00.000Z" },
      { site: "Quillfen", scenario: "reach", verdict: null, endedAt: null },
    ],
  } as unknown as MetricsSetup);
  tell("r1", outline(["board"]));
  kept("r1", "kiosk-1", 0);
  tell("r1", done("reach", "fail", "2026-01-02T00:00:00.000Z"));
  intake.emit("unusable", { name: "kiosk-1" }, { firstNumber: 3, lastNumber: 4 });
  intake.emit("wrote", 5, 0.003);
  families = readFamilies(await scrape());
});

test("exposition: given every metric, then names, types, units and labels follow OpenMetrics", () => {
  expect(families.flatMap(mistakesOf)).toEqual([]);
  expect(families.length).toBeGreaterThan(15);
  const units = families.filter(({ name }) =>
    BASE_UNITS.some((unit) => name.replace(/_total$/, "").endsWith(`_${unit}`)),
  );
  expect(units.map(({ name }) => name)).toContain("dyetrace_scenario_last_end_timestamp_seconds");
});

test("exposition: given names that are against the conventions, then each is told", () => {
  const family = (name: string, type: string): Family => ({ name, type, help: "some help", samples: [] });
  expect(mistakesOf(family("dyetrace_runs", "counter"))).toEqual(["dyetrace_runs: is a counter without _total"]);
  expect(mistakesOf(family("process_cpu_seconds_total", "gauge"))).toHaveLength(1);
  expect(mistakesOf(family("dyetrace_write_ms", "gauge"))).toEqual(["dyetrace_write_ms: is in no base unit"]);
});

const valuesOf = (name: string) =>
  families.find((family) => family.name === name)?.samples.map(({ labels, value }) => [...labels.values(), value]);

test("exposition: given runs, then the last verdict of each scenario as a state set, its end, and what each listener got", () => {
  const verdicts = valuesOf("dyetrace_scenario_last_verdict") ?? [];
  // Of a state set each state is told, and one of them is 1 (OpenMetrics 1.0, "StateSet").
  expect(verdicts.filter((one) => one.at(-1) === 1)).toEqual([
    ['Quillfen \\"north\\"', "reach", "fail", 1],
    ["Quillfen", "soak", "pass", 1],
  ]);
  expect(verdicts).toHaveLength(8);
  expect(valuesOf("dyetrace_scenario_last_end_timestamp_seconds")).toContainEqual([
    "Quillfen",
    "soak",
    Date.parse("2026-01-01T06:30:00.000Z") / 1000,
  ]);
  expect(valuesOf("dyetrace_listener_packets_received_total")).toEqual([["kiosk-1", "board", 90]]);
  expect(valuesOf("dyetrace_listener_packets_lost_total")).toEqual([["kiosk-1", "board", 10]]);
});

test("exposition: given more listeners, streams and scenarios than the bounds, then no more series, and no packet is missing from the sum", async () => {
  const names = Array.from({ length: 60 }, (_, at) => `wall-${at + 1}`);
  tell("r2", outline(names));
  for (let host = 0; host < 60; host++) for (let stream = 0; stream < 60; stream++) kept("r2", `host-${host}`, stream);
  for (let at = 0; at < MOST_SCENARIOS + 20; at++)
    tell(`s${at}`, done(`s${at}`, "pass", new Date(1.8e12 + at).toISOString()));
  families = readFamilies(await scrape());
  const received = valuesOf("dyetrace_listener_packets_received_total") ?? [];
  expect(received).toHaveLength(MOST_LISTENER_PAIRS + 1);
  expect(received.reduce((sum, one) => sum + Number(one.at(-1)), 0)).toBe(90 * 3601);
  expect(received.at(-1)?.slice(0, 2)).toEqual(["other", "other"]);
  expect(valuesOf("dyetrace_scenario_last_end_timestamp_seconds")).toHaveLength(MOST_SCENARIOS);
});

test("deploy/metrics: given the examples of alerts and of a board, then every name and label in them is one that is told", () => {
  const read = (file: string) => readFileSync(new URL(`../../deploy/metrics/${file}`, import.meta.url), "utf8");
  const alerts = parse(read("alert-rules.yaml")) as { groups: { rules: { alert: string; expr: string }[] }[] };
  const board = JSON.parse(read("board.json")) as { rows: { pictures: { expression: string }[] }[] };
  const rules = alerts.groups.flatMap((group) => group.rules.map(({ expr }) => expr));
  const pictures = board.rows.flatMap((row) => row.pictures.map(({ expression }) => expression));
  expect([rules.length, pictures.length].every((count) => count >= 5)).toBe(true);
  for (const expression of [...rules, ...pictures]) {
    const used = [...expression.matchAll(/\b((?:dyetrace|process)_[a-z_]+)(?:\{([a-z]+)=)?/g)];
    expect(used.length, expression).toBeGreaterThan(0);
    for (const [, name = "", label] of used) {
      const family = families.find((one) => one.name === name.replace(/_bucket$/, ""));
      expect(family, expression).toBeDefined();
      if (label !== undefined) expect([...(family?.samples[0]?.labels.keys() ?? [])], expression).toContain(label);
    }
  }
  const told = read("README.md");
  for (const { name } of families) if (name.startsWith("dyetrace_")) expect(told).toContain(name);
});
