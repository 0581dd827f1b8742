import { type AgentTask, DEFAULT_GUARDS, type TaskStream } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { watchedStreams } from "./watched-streams.ts";

const stream = (streamId: number, changes: Partial<TaskStream> = {}): TaskStream => ({
  ...{ streamId, name: `s-${streamId}`, group: "239.196.4.7", port: 5004, ssmSource: null, rateBps: 1e6 },
  ...{ payloadBytes: 1316, ttl: 1, dscp: 0, burstPackets: 1, production: { format: null, namesPerInterval: 100 } },
  ...changes,
});
const task = (streams: readonly TaskStream[], joined: readonly number[] = []): AgentTask => ({
  ...{ runId: "0123456789abcdef", endNs: 9e9, intervalNs: 1e9, holdNs: 5e9 },
  streams: [...streams],
  actions: joined.map((streamId) => ({ atNs: 0, kind: "join", streamId })),
});
const idsOf = (one: AgentTask, allowedFollows: string[] = ["239.196.0.0/16"]): number[] =>
  watchedStreams(one, { ...DEFAULT_GUARDS, allowedFollows }).map(({ streamId }) => streamId);

test("watchedStreams: given streams of others, then those that are not joined and that the host lets be followed", () => {
  const { production: _, ...own } = stream(4);
  const streams = [stream(1), stream(2), stream(3, { group: "239.195.1.1" }), own, stream(5, { group: "224.0.0.251" })];
  expect(idsOf(task(streams, [2]))).toEqual([1]);
  expect(idsOf(task(streams, [2]), [])).toEqual([]);
  expect(idsOf(task(streams), ["0.0.0.0/0"])).toEqual([1, 2, 3]); // groups of the link: RFC 5771, section 4
});

test("watchedStreams: given a look before a run, or more streams than sockets, then none, or as many as there are", () => {
  expect(idsOf({ ...task([stream(1)]), looksForUse: true })).toEqual([]);
  expect(idsOf(task(Array.from({ length: 100 }, (_, index) => stream(index + 1))))).toHaveLength(64);
});
