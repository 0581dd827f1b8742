import { readdirSync, readFileSync } from "node:fs";
import path from "node:path";
import { fileURLToPath } from "node:url";
import { AgentFileSchema, type AgentTask, DEFAULT_GUARDS, type Guards, GuardsSchema } from "@dyetrace/wire";
import { describe, expect, test } from "vitest";
import type { GuardedStream } from "../../agent/src/guards/guarded-stream.ts";
import { refuseTask } from "../../agent/src/guards/guards.ts";
import { HostLoad } from "../../agent/src/guards/host-load.ts";
import { refuseStream } from "../../agent/src/guards/stream-guard.ts";

const guardKeys = Object.keys(AgentFileSchema.properties.guards.properties);
const keys = new Set([...Object.keys(AgentFileSchema.properties), ...guardKeys]);

/** The host file's key of each guard. A new guard does not compile here until it has one. */
const KEY_OF: Readonly<Record<keyof Guards, string>> = {
  allowSending: "allow-sending",
  maxRateBps: "max-rate",
  maxPacketsPerSecond: "max-packets-per-second",
  allowedGroups: "allowed-groups",
  refusedGroups: "refused-groups",
  refuseReservedAliases: "refuse-reserved-aliases",
  allowedReservedGroups: "allow-reserved-groups",
  allowedPorts: "allowed-ports",
  companionHosts: "companion-hosts",
  companionPorts: "companion-ports",
  maxCompanions: "max-companions",
  allowedJoins: "allowed-joins",
  allowedFollows: "allowed-follows",
  maxJoins: "max-joins",
  maxTtl: "max-ttl",
  maxDscp: "max-dscp",
  maxDurationNs: "max-duration",
  maxHoldNs: "max-hold",
  maxStreams: "max-streams",
};

test("host file: given all guards, then each has a key of its schema, and each key is one of theirs", () => {
  expect(Object.keys(KEY_OF).sort()).toEqual(Object.keys(GuardsSchema.properties).sort());
  expect(Object.values(KEY_OF).sort()).toEqual([...guardKeys].sort());
});

describe("hints of the guards", () => {
  const guards: Guards = { ...DEFAULT_GUARDS, allowSending: true };
  const stream: Omit<GuardedStream, "companionOf"> = {
    streamId: 1,
    port: 5004,
    name: "music",
    group: "239.195.1.1",
    rateBps: 1e6,
    payloadBytes: 1000,
    ttl: 4,
    dscp: 0,
    burstPackets: 1,
  };
  const task: AgentTask = {
    runId: "one",
    streams: [{ ...stream, ssmSource: null }],
    actions: [{ atNs: 0, kind: "emit", streamId: 1 }],
    endNs: 60e9,
    intervalNs: 1e9,
    holdNs: 5e9,
  };

  const refuseLoad = (streams: readonly GuardedStream[], limits: Guards) => {
    const host = new HostLoad(limits);
    return streams.map((one) => host.put(one)).at(-1) ?? null;
  };
  const joining: AgentTask = { ...task, actions: [{ atNs: 0, kind: "join", streamId: 1 }] };
  const companion = { ...stream, companionOf: 1, streamId: 2, group: "198.51.100.7" };

  test.each<[keyof Guards, string | undefined]>([
    ["allowSending", refuseStream(stream, { ...guards, allowSending: false })?.hint],
    ["allowedGroups", refuseStream(stream, { ...guards, allowedGroups: ["239.1.0.0/16"] })?.hint],
    ["maxTtl", refuseStream(stream, { ...guards, maxTtl: 3 })?.hint],
    ["maxDscp", refuseStream({ ...stream, dscp: 46 }, guards)?.hint],
    ["maxRateBps", refuseStream({ ...stream, burstPackets: 400 }, { ...guards, maxPacketsPerSecond: 1e6 })?.hint],
    ["maxPacketsPerSecond", refuseStream({ ...stream, burstPackets: 300 }, guards)?.hint],
    ["refusedGroups", refuseStream(stream, { ...guards, refusedGroups: ["239.195.0.0/16"] })?.hint],
    ["allowedReservedGroups", refuseStream({ ...stream, group: "239.255.1.1" }, guards)?.hint],
    ["refuseReservedAliases", refuseStream({ ...stream, group: "239.0.0.1" }, guards)?.hint],
    ["allowedPorts", refuseStream({ ...stream, port: 123 }, guards)?.hint],
    ["allowedPorts", refuseTask(joining, { ...guards, allowedPorts: ["48620"] })?.hint],
    ["allowedJoins", refuseTask(joining, { ...guards, allowedJoins: ["239.1.0.0/16"] })?.hint],
    ["maxJoins", refuseTask(joining, { ...guards, maxJoins: 0 })?.hint],
    ["companionHosts", refuseStream(companion, guards)?.hint],
    ["companionPorts", refuseStream(companion, { ...guards, companionHosts: ["198.51.100.0/24"] })?.hint],
    ["maxCompanions", refuseLoad([stream, companion], { ...guards, maxCompanions: 0 })?.hint],
    ["maxHoldNs", refuseTask(task, { ...guards, maxHoldNs: 1e9 })?.hint],
    ["maxRateBps", refuseLoad([stream], { ...guards, maxRateBps: 1e5 })?.hint],
    ["maxPacketsPerSecond", refuseLoad([stream], { ...guards, maxPacketsPerSecond: 1 })?.hint],
    ["maxStreams", refuseLoad([stream, { ...stream, streamId: 2 }], { ...guards, maxStreams: 1 })?.hint],
    ["maxDurationNs", refuseTask(task, { ...guards, maxDurationNs: 1e9 })?.hint],
  ])("given that %s refuses, then the hint names its key as the host's file spells it", (guard, hint) => {
    expect(hint).toContain(KEY_OF[guard]);
  });
});

// Whoever writes a sentence: agent, controller, console. A sentence is a quoted text with a space in it.
const ROOT = fileURLToPath(new URL("../..", import.meta.url));
const SENTENCE = /(["'`])((?:(?!\1)[^\\\n]|\\.)* (?:(?!\1)[^\\\n]|\\.)*)\1|>([^<>{}\n]+)</g;
const sentences = ["agent/src", "controller/src", "packages/console/src"].flatMap((folder) =>
  readdirSync(path.join(ROOT, folder), { recursive: true, encoding: "utf8" })
    .filter((name) => /\.tsx?$/.test(name) && !/\.test\./.test(name))
    .flatMap((name) =>
      [...readFileSync(path.join(ROOT, folder, name), "utf8").matchAll(SENTENCE)].map(
        ([, , quoted, shown]) => `${name}: ${quoted ?? shown ?? ""}`,
      ),
    ),
);

test("sentences: given all texts that we show, then none names a guard as the code spells it", () => {
  const inCode = new RegExp(`\\b(${Object.keys(GuardsSchema.properties).join("|")}|allowsUpgrade)\\b`);
  expect(sentences.length).toBeGreaterThan(500); // they were found at all
  expect(sentences.filter((one) => inCode.test(one.replaceAll(/\$\{[^}]*\}/g, "")))).toEqual([]);
});

test("sentences: given one that speaks of the host's file, then what it names there is a key of its schema", () => {
  const named = sentences
    .filter((one) => /agent\.yaml|\$\{IN_FILE\}/.test(one))
    .flatMap((one) =>
      [...one.matchAll(/\b(?:[Ss]et|[Ss]ee|and) ([a-z]+(?:-[a-z]+)+)/g)].map(([, key = ""]) => ({ one, key })),
    );
  expect(named.filter(({ key }) => !keys.has(key))).toEqual([]);
  expect(new Set(named.map(({ key }) => key))).toContain("allow-upgrade"); // the controller's own
  expect(new Set(named.map(({ key }) => key))).toContain("allow-sending");
});
