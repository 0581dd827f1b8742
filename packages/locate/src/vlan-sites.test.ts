import { readFileSync } from "node:fs";
import { loadSitePlan, planPlace, type SiteGraph, segmentsDownTo, sourceWays, unfoldVlans } from "@dyetrace/site";
import { expect, test } from "vitest";
import type { Conclusion } from "./conclusion.ts";
import { locate } from "./locate.ts";
import type { ListenerObservation, RunObservations, StreamObservation } from "./run/run-observations.ts";
import { STANDARD_TIMERS } from "./run/run-observations.ts";
import { coverage } from "./tell-apart/coverage.ts";

/**
 * Sites with VLANs and routers. What must come out follows from the rule that a path is bad if and only if something on it
 * is bad (N. Duffield, Simple network performance tomography, IMC 2003), with the ways drawn by hand.
 */
const DEMO = loadSitePlan(
  readFileSync(new URL("../../practice/demo/quillfen-vlans.yaml", import.meta.url), "utf8"),
  "quillfen-vlans.yaml",
);
const PACKETS = 400;

interface Sent {
  readonly name: string;
  readonly source: string;
  readonly group: string;
  readonly ssm?: boolean;
  readonly ttl?: number;
}

/** Everybody listens to everything; `isLost` says who gets nothing of it; hops as `hops` says. */
function conclude(
  site: SiteGraph,
  streams: readonly Sent[],
  isLost: (stream: Sent, host: string) => boolean,
  hops: (stream: Sent, host: string) => number | null = () => null,
): Conclusion {
  const hosts = [...site.nodes.values()].flatMap(({ kind, name }) => (kind === "host" ? [name] : []));
  const listeners = streams.flatMap((stream) =>
    hosts.flatMap((host): ListenerObservation[] => {
      if (host === stream.source) return [];
      const isSilent = isLost(stream, host);
      const passed = hops(stream, host);
      return [
        {
          stream: stream.name,
          host,
          state: "reported",
          joinedFromMs: 0,
          joinedToMs: null,
          receivedPackets: isSilent ? 0 : PACKETS,
          window: [0, PACKETS - 1],
          lost: isSilent ? [[0, PACKETS - 1]] : [],
          hostLostPackets: 0,
          lastArrivalMs: isSilent ? null : 5_000,
          silences: [],
          ttlSeen: isSilent || passed === null ? null : (stream.ttl ?? 8) - passed,
          dscpSeen: isSilent ? null : 0,
          unicastRatio: 0,
          nicFrames: isSilent ? 0 : PACKETS,
          foreignPackets: 0,
          companion: null,
        },
      ];
    }),
  );
  const run: RunObservations = {
    streams: streams.map(
      ({ name, source, group, ssm = false, ttl = 8 }): StreamObservation => ({
        stream: name,
        group,
        source,
        ssm,
        sourceState: "sending",
        sentPackets: PACKETS,
        steps: [{ firstSeq: 0, lastSeq: PACKETS - 1, startMs: 1_000, endMs: 5_000, payloadBytes: 1316, rateBps: 1e6 }],
        unsent: [],
        firstSentMs: 1_000,
        lastSentMs: 5_000,
        stalls: [],
        ttl,
        dscp: 0,
      }),
    ),
    listeners,
    bystanders: [],
    queriers: [],
    membership: [],
    timers: STANDARD_TIMERS,
  };
  return locate(site, run);
}

const TOWER: Sent = { name: "tower-a", source: "tower", group: "239.195.20.1" };
const TILL: Sent = { name: "till-a", source: "till-1", group: "239.195.20.2" };
const behindPierEast = ["board-1", "kiosk-1", "kiosk-2"];
const vlan20 = ["kiosk-1", "kiosk-2", "till-1", "till-2"];
const vlan30 = ["desk-1", "desk-2", "desk-3", "desk-4"];

test("VLAN sites: given hosts of one VLAN silent behind a trunk that another crosses, then the trunk in that VLAN alone", () => {
  const { findings, segments } = conclude(DEMO, [TOWER, TILL], (_, host) => ["kiosk-1", "kiosk-2"].includes(host));
  expect(findings.map(({ kind }) => kind)).toEqual(["stops"]);
  expect(findings[0]?.suspects).toEqual([
    "core:1>pier-east:24 vlan 20",
    "pier-east vlan 20",
    "pier-east:24>core:1 vlan 20",
  ]);
  const states = new Map(segments.map(({ id, status }) => [id, status]));
  expect(states.get("core:1>pier-east:24 vlan 10")).toBe("ok");
  expect(states.get("core:1>pier-east:24 vlan 20")).toBe("stops");
  expect(states.get("pier-east vlan 10")).toBe("ok");
});

test("VLAN sites: given everybody silent behind a trunk, then one fault of the whole trunk, not one for each VLAN", () => {
  const { findings } = conclude(DEMO, [TOWER, TILL], (_, host) => behindPierEast.includes(host));
  expect(findings).toHaveLength(1);
  expect(findings[0]?.suspects[0]).toBe("core:1>pier-east:24");
  expect(findings[0]?.suspects).toContain("pier-east");
  expect(findings[0]?.suspects.some((suspect) => suspect.includes("vlan"))).toBe(false);
});

test("VLAN sites: given only one VLAN tested on a trunk, then both the trunk and the VLAN on it are suspects, the trunk first", () => {
  const { findings } = conclude(
    DEMO,
    [TILL],
    (_, host) => ["kiosk-1", "kiosk-2", "board-1"].includes(host) && host !== "board-1",
  );
  expect(findings[0]?.suspects.slice(0, 2)).toEqual(["core:1>pier-east:24 vlan 20", "pier-east vlan 20"]);
  const untested = conclude(DEMO, [{ ...TILL }], (_, host) => behindPierEast.includes(host)).findings;
  expect(untested[0]?.suspects.slice(0, 2)).toEqual(["core:1>pier-east:24", "pier-east"]);
});

test("VLAN sites: given one source silent behind a router that lets another through, then the router for that source", () => {
  const board: Sent = { name: "board-a", source: "board-1", group: "239.195.20.1" };
  const { findings } = conclude(
    DEMO,
    [TOWER, { ...TOWER, name: "tower-b", group: "239.195.20.9" }, board],
    ({ source }, host) => source === "tower" && vlan30.includes(host),
  );
  expect(findings.map(({ kind, suspects, streams }) => [kind, suspects, streams])).toEqual([
    ["source-specific", ["router-b"], ["tower-a", "tower-b"]],
  ]);
});

test("VLAN sites: given one group of one source silent and another source's other group whole, then both readings are said", () => {
  const board: Sent = { name: "board-b", source: "board-1", group: "239.195.20.9" };
  const { findings } = conclude(
    DEMO,
    [TOWER, board],
    ({ source }, host) => source === "tower" && vlan30.includes(host),
  );
  expect(findings.map(({ kind }) => kind)).toEqual(["group-specific"]);
  expect(findings[0]?.suspects).toContain("router-b");
  expect(findings[0]?.evidence.join(" ")).toContain("may as well concern the source");
});

test("VLAN sites: given joins without a source silent beyond the routers and (S,G) whole, then a rendezvous point is missing", () => {
  const named: Sent = { name: "tower-s", source: "tower", group: "232.195.20.1", ssm: true };
  const { findings } = conclude(
    DEMO,
    [TOWER, { ...TOWER, name: "tower-b", group: "239.195.20.9" }, named],
    ({ ssm }, host) => ssm !== true && [...vlan20, ...vlan30].includes(host),
  );
  // Router B has the higher address in VLAN 20, so it may answer for the members there (RFC 7761, section 4.3.2).
  expect(findings.map(({ kind, suspects }) => [kind, suspects])).toEqual([
    ["rendezvous-point", ["router-a", "router-b"]],
  ]);
});

test("VLAN sites: given (S,G) silent and joins without a source whole, then the group and what speaks its version", () => {
  const named: Sent = { name: "tower-s", source: "tower", group: "232.195.20.1", ssm: true };
  const { findings } = conclude(DEMO, [TOWER, named], ({ ssm }, host) => ssm === true && vlan30.includes(host));
  expect(findings.map(({ kind }) => kind)).toEqual(["group-specific"]);
  expect(findings[0]?.evidence.join(" ")).toContain("IGMPv3 and MLDv2");
});

test("VLAN sites: given hops that the plan does not have, then the plan is doubted, and no place", () => {
  const planned = (host: string): number => (vlan30.includes(host) ? 2 : vlan20.includes(host) ? 1 : 0);
  expect(
    conclude(
      DEMO,
      [TOWER],
      () => false,
      (_, host) => planned(host),
    ).findings,
  ).toEqual([]);
  const { findings } = conclude(
    DEMO,
    [TOWER],
    () => false,
    (_, host) => planned(host) + (host === "desk-1" ? 1 : 0),
  );
  expect(findings.map(({ kind, suspects }) => [kind, suspects])).toEqual([["plan-mismatch", []]]);
});

test("VLAN sites: given TTLs of 1 and 2, then the hop at which the stream ends and the TTL that would do", () => {
  const withTtl = (ttl: number): string =>
    conclude(DEMO, [{ ...TOWER, ttl }], (_, host) => (ttl === 1 ? [...vlan20, ...vlan30] : vlan30).includes(host))
      .findings[0]?.title ?? "";
  expect(withTtl(1)).toMatch(/TTL 1 ends at router-a, hop 1: .* TTL 3 would do/);
  expect(withTtl(2)).toMatch(/TTL 2 ends at router-b, hop 2: .* TTL 3 would do/);
});

test("VLAN sites: given the plan alone, then coverage tells a VLAN on a trunk from the trunk only where both VLANs are tested", () => {
  const hosts = [...DEMO.nodes.values()].flatMap(({ kind, name }) => (kind === "host" ? [name] : []));
  const { ambiguousSets, untested } = coverage(DEMO, ["tower"], hosts);
  const setOf = (name: string): readonly string[] => ambiguousSets.find((set) => set.includes(name)) ?? [name];
  expect(setOf("core:1>pier-east:24")).not.toContain("core:1>pier-east:24 vlan 20");
  expect(untested).toContain("pier-west:23>hall:23"); // blocked by spanning tree
  expect(untested).not.toContain("core:1>pier-east:24");
});

/** Ways as the site package gives them, which its own tests hold to ways by hand. */
const wayOf = (source: string, host: string): string[] => {
  const ways = sourceWays(unfoldVlans(DEMO), source)[0] ?? new Map();
  return segmentsDownTo(ways, host).map(({ id }) => id);
};
const EVERYWHERE: readonly Sent[] = [
  TOWER,
  TILL,
  { name: "board-a", source: "board-1", group: "239.195.20.3" },
  { name: "desk-a", source: "desk-2", group: "239.195.20.4" },
];

test.each([...unfoldVlans(DEMO).segments.keys()])(
  "VLAN sites: given that %s alone lets nothing through, then it is among the suspects of one finding, and no VLAN that works is",
  (dead) => {
    const isLost = ({ source }: Sent, host: string): boolean => wayOf(source, host).includes(dead);
    const { findings } = conclude(DEMO, EVERYWHERE, isLost);
    const hosts = [...DEMO.nodes.values()].filter(({ kind }) => kind === "host").map(({ name }) => name);
    const isVisible = EVERYWHERE.some((stream) => hosts.some((host) => host !== stream.source && isLost(stream, host)));
    expect(findings).toHaveLength(isVisible ? 1 : 0);
    for (const { suspects } of findings) {
      expect(suspects).toContain(dead);
      const [proven, within] = [new Set<string>(), new Set(suspects)];
      for (const stream of EVERYWHERE) {
        for (const host of hosts)
          if (!isLost(stream, host)) for (const id of wayOf(stream.source, host)) proven.add(id);
      }
      for (const id of proven) expect([id, within.has(id) && !isReverseOf(id, suspects)]).toEqual([id, false]);
    }
  },
);

test.each(["core:1>pier-east:24", "core:2>pier-west:24", "core:3>hall:24", "hall:24>core:3", "hall:20>router-b:lan"])(
  "VLAN sites: given that the whole of %s lets nothing through, then it is one fault, and the link as a whole among its suspects",
  (dead) => {
    const { findings } = conclude(DEMO, EVERYWHERE, ({ source }, host) =>
      wayOf(source, host).some((id) => planPlace(id) === dead),
    );
    expect(findings.map(({ kind }) => kind)).toEqual(["stops"]);
    expect(findings[0]?.suspects).toContain(dead);
  },
);

/** Reports for the data on one direction of a link travel on the other, so that one may be suspect and carry data. */
const isReverseOf = (id: string, suspects: readonly string[]): boolean => {
  const [, from = "", to = "", vlan = ""] = /^(.*)>([^ ]*)(.*)$/.exec(id) ?? [];
  return suspects.includes(`${to}>${from}${vlan}`);
};

/** Two routers of equal cost between the same VLANs. */
const EQUAL = loadSitePlan(
  `site: two ways
vlans: { 1: {}, 2: {} }
nodes:
  s: { kind: switch }
  t: { kind: switch }
  ra: { kind: router }
  rb: { kind: router }
  a: { kind: host }
  c: { kind: host }
  b: { kind: host }
  d: { kind: host }
links:
  - { between: [s:1, a:e], vlan: 1 }
  - { between: [s:4, c:e], vlan: 1 }
  - { between: [s:2, ra:1], vlan: 1 }
  - { between: [s:3, rb:1], vlan: 1 }
  - { between: [ra:2, t:1], vlan: 2 }
  - { between: [rb:2, t:2], vlan: 2 }
  - { between: [t:3, b:e], vlan: 2 }
  - { between: [t:4, d:e], vlan: 2 }
`,
  "equal.yaml",
);
const A: Sent = { name: "a", source: "a", group: "239.195.20.1" };

test("equal routes: given silence beyond two routers of equal cost, then the suspects of both ways, with less confidence", () => {
  expect(sourceWays(unfoldVlans(EQUAL), "a")).toHaveLength(2);
  const { findings } = conclude(EQUAL, [A], (_, host) => host === "b" || host === "d");
  expect(findings).toHaveLength(1);
  expect(findings[0]?.suspects).toEqual(expect.arrayContaining(["s:2>ra:1", "ra", "s:3>rb:1", "rb"]));
  expect(findings[0]?.confidence).toBeLessThan(0.9);
  expect(findings[0]?.evidence.join(" ")).toContain("routes of equal cost");
});

test("equal routes: given everything whole, then only what is on both ways counts as proven", () => {
  const { findings, segments } = conclude(EQUAL, [A], () => false);
  expect(findings).toEqual([]);
  const states = new Map(segments.map(({ id, status }) => [id, status]));
  expect(states.get("t:3>b:e")).toBe("ok");
  expect(states.get("s:2>ra:1")).toBe("unknown");
  expect(states.get("s:3>rb:1")).toBe("unknown");
});
