import type { IntervalReport, MembershipEvent, MembershipMessage, RunStory, WatcherReport } from "@dyetrace/wire";
import { describe, expect, test } from "vitest";
import { storyLines } from "./story-lines.ts";
import { StoryNotes, type StoryStream } from "./story-notes.ts";
import { type StorySetting, tellStory } from "./tell-story.ts";

const G4 = "233.252.0.10";
const G6 = "ff15::8000:10";
const MAC = { kiosk: "02:00:00:00:00:01", till: "02:00:00:00:00:02", core: "02:00:00:00:00:0c" } as const;
const SECOND = 1e9;

const stream = (group: string, emits = [{ fromMs: 0, toMs: 900_000 }]): StoryStream => ({
  streamId: 1,
  name: "board",
  source: "tower",
  group,
  packetIntervalMs: 10,
  emits,
});

const SETTING: StorySetting = {
  run: "00000000000000aa",
  site: "Quillfen",
  scenario: "ageing",
  startedAt: "2026-11-29T12:00:00.000Z",
  isOver: true,
  hostOf: (agent) => agent,
  accessPointOf: (bssid) => (bssid === "02:00:00:00:00:0a" ? "hall-ap" : null),
  portOf: () => null,
  queriers: null,
  siteTimers: null,
  tables: [],
};

/** What every message has around it. */
const envelope = (mac: string, source: string): Omit<MembershipMessage, "kind" | "protocol"> => ({
  family: source.includes(":") ? 6 : 4,
  sourceMac: mac,
  destinationMac: "01:00:5e:00:00:01",
  vlanId: null,
  source,
  destination: "224.0.0.1",
  ttlHops: 1,
  hasRouterAlert: true,
});

interface Asked {
  readonly group?: string;
  readonly family?: 4 | 6;
  readonly version?: 1 | 2 | 3;
  /** Null: as IGMPv2 and MLDv1, which tell neither. */
  readonly carries?: { readonly robustness: number; readonly intervalS: number } | null;
  readonly responseMs?: number;
  readonly suppresses?: boolean;
}

const query = (atS: number, asked: Asked = {}): MembershipEvent => {
  const { group = null, family = 4, version = 3, responseMs = 10_000, suppresses = false } = asked;
  const carries = asked.carries === undefined ? { robustness: 2, intervalS: 125 } : asked.carries;
  return {
    atNs: atS * SECOND,
    direction: "in",
    message: {
      ...envelope(MAC.core, family === 4 ? "192.0.2.1" : "fe80::1"),
      kind: "query",
      protocol: family === 4 ? "igmp" : "mld",
      version,
      checksum: "good",
      group,
      sources: [],
      maxResponseMs: responseMs,
      suppressesRouters: suppresses,
      robustness: carries?.robustness ?? null,
      queryIntervalMs: carries === null ? null : carries.intervalS * 1000,
      hasExtension: false,
    } as MembershipMessage,
  };
};

type Record = "IS_EX" | "TO_EX" | "TO_IN" | "ALLOW" | "BLOCK";

const report = (
  atS: number,
  who: "kiosk" | "till",
  type: Record,
  { group = G4, direction = "out", sources = [] as string[] } = {},
): MembershipEvent => ({
  atNs: atS * SECOND,
  direction: direction as "in" | "out",
  message: {
    ...envelope(
      MAC[who],
      group.includes(":") ? `fe80::${who === "kiosk" ? 11 : 12}` : `192.0.2.${who === "kiosk" ? 11 : 12}`,
    ),
    kind: "report",
    protocol: group.includes(":") ? "mld" : "igmp",
    version: group.includes(":") ? 2 : 3,
    checksum: "good",
    records: [{ type, group, sources }],
    hasExtension: false,
  } as MembershipMessage,
});

/** One report over the whole run: what its agent heard, and when frames of the stream came. */
interface Told {
  readonly events?: readonly MembershipEvent[];
  readonly frames?: readonly (readonly [fromS: number, toS: number])[];
  readonly stays?: readonly (readonly [joinS: number, leaveS: number | null])[];
  readonly sends?: boolean;
}

function tell(
  agents: { readonly [agent: string]: Told },
  untilS: number,
  options: Partial<StorySetting> & { group?: string } = {},
): RunStory {
  const { group = G4, ...setting } = options;
  const notes = new StoryNotes([stream(group, [{ fromMs: 0, toMs: untilS * 1000 }])]);
  for (const [agent, { events = [], frames = [], stays = [], sends = false }] of Object.entries(agents)) {
    const interval = (listeners: unknown, senders: unknown): IntervalReport =>
      ({ fromNs: 0, toNs: untilS * SECOND, listeners, senders }) as unknown as IntervalReport;
    const watch = (membership: readonly MembershipEvent[], streams: unknown): WatcherReport =>
      ({ sinceNs: 0, streams, membership, unlistedMembership: 0, dropped: 0 }) as unknown as WatcherReport;
    const memberships = stays.map(([joinS, leaveS]) => ({
      joinRequestedNs: joinS * SECOND,
      firstPacketNs: null,
      lastPacketNs: null,
      leaveRequestedNs: leaveS === null ? null : leaveS * SECOND,
    }));
    const listeners = stays.length === 0 ? [] : [{ streamId: 1, receipt: null, memberships }];
    notes.take(agent, interval(listeners, sends ? [{ streamId: 1, sentPackets: 1 }] : []), watch(events, []));
    for (const [fromS, toS] of frames) {
      notes.take(agent, interval([], []), watch([], [{ streamId: 1, firstNs: fromS * SECOND, lastNs: toS * SECOND }]));
    }
  }
  return tellStory({ ...SETTING, ...setting }, notes);
}

const remarksOf = (story: RunStory): string[] => story.remarks.map(({ kind, lane }) => `${kind} ${lane}`);

describe("timers: values of the standards", () => {
  // RFC 3376, sections 8.4 and 8.5 with the defaults of 8.1 to 8.3: 2 x 125 s + 10 s, and + 10 s / 2. RFC 3810, 9.4 and 9.5: the same.
  test.each([
    { family: 4, group: G4, membership: "group membership interval", section: "RFC 3376, section 8.4" },
    { family: 6, group: G6, membership: "multicast address listening interval", section: "RFC 3810, section 9.4" },
  ] as const)(
    "given a querier with the default figures (IPv$family), then memberships last 260 s and its office 255 s",
    ({ family, group, membership, section }) => {
      const story = tell({ kiosk: { events: [query(1, { family }), report(3, "kiosk", "IS_EX", { group })] } }, 400, {
        group,
      });
      expect(story.timers).toMatchObject([
        {
          kind: "other-querier",
          lane: `querier ${family === 4 ? "192.0.2.1" : "fe80::1"}`,
          fromMs: 1000,
          valueMs: 255_000,
          toMs: 256_000,
          end: "ran-out",
          source: "queries",
        },
        {
          kind: "membership",
          lane: "kiosk",
          name: membership,
          reference: section,
          fromMs: 3000,
          valueMs: 260_000,
          toMs: 263_000,
          end: "ran-out",
          sum: "2 x 125 s + 10 s",
        },
      ]);
    },
  );

  // RFC 3376, section 8.10 with 8.8 and 8.9: 2 x 1 s; RFC 3810, section 9.10.
  test.each([
    { family: 4, group: G4, name: "last member query time" },
    { family: 6, group: G6, name: "last listener query time" },
  ] as const)(
    "given a leave that is asked about within a second (IPv$family), then it takes effect after 2 s",
    ({ family, group, name }) => {
      const events = [
        query(1, { family }),
        report(3, "kiosk", "TO_EX", { group }),
        report(10, "kiosk", "TO_IN", { group }),
        query(10.01, { family, group, responseMs: 1000 }),
        report(10.4, "kiosk", "TO_IN", { group }), // said again (RFC 3376, section 5.1)
        query(11.01, { family, group, responseMs: 1000 }),
      ];
      const story = tell({ kiosk: { events } }, 60, { group });
      expect(story.timers.filter(({ lane }) => lane === "kiosk")).toMatchObject([
        { kind: "membership", fromMs: 3000, toMs: 10_010, end: "shortened" },
        { kind: "last-member", name, fromMs: 10_010, valueMs: 2000, toMs: 12_010, end: "ran-out" },
      ]);
      expect(remarksOf(story)).toEqual(["leave-answered kiosk"]);
    },
  );

  test("given a querier of a version that tells no interval, then it is measured, or the default, or what the site is known to have", () => {
    const silent = { version: 2, carries: null } as const;
    const at = (times: readonly number[]) => [...times.map((atS) => query(atS, silent)), report(100, "kiosk", "IS_EX")];
    const membership = (times: readonly number[], siteTimers: StorySetting["siteTimers"] = null) =>
      tell({ kiosk: { events: at(times) } }, 101, { siteTimers }).timers.find(({ kind }) => kind === "membership");
    expect(membership([1])).toMatchObject({ valueMs: 260_000, source: "default" });
    expect(membership([0, 20, 40, 60, 80])).toMatchObject({ valueMs: 50_000, source: "measured" });
    const site = { membershipMs: 21_000, otherQuerierMs: 20_500, lastMemberQueries: 2 };
    expect(membership([1], site)).toMatchObject({ valueMs: 21_000, source: "site" });
  });

  test("given reports again and again, then each sets the timer anew, and only the last runs on", () => {
    const events = [query(0), ...[2, 127, 252].map((atS) => report(atS, "kiosk", "IS_EX"))];
    const story = tell({ kiosk: { events } }, 300);
    expect(story.timers.filter(({ kind }) => kind === "membership").map(({ end, toMs }) => [end, toMs])).toEqual([
      ["renewed", 127_000],
      ["renewed", 252_000],
      ["open", 300_000],
    ]);
  });

  // RFC 3376, sections 4.1.5 and 6.6.1: whoever hears a query with the S flag leaves its timers alone.
  test("given a query about the group, then a member's timer is cut short until it answers; with the S flag it is not", () => {
    const asked = (suppresses: boolean) => {
      const events = [
        query(0),
        report(3, "kiosk", "TO_EX"),
        query(10, { group: G4, responseMs: 1000, suppresses }),
        report(10.4, "kiosk", "IS_EX"),
      ];
      return tell({ kiosk: { events } }, 20)
        .timers.filter(({ lane }) => lane === "kiosk")
        .map(({ kind, end }) => `${kind} ${end}`);
    };
    expect(asked(false)).toEqual(["membership shortened", "last-member renewed", "membership open"]);
    expect(asked(true)).toEqual(["membership renewed", "membership open"]);
  });
});

describe("messages", () => {
  test("given a report that others hear, then it is told once, on the lane of its host, with who heard it", () => {
    const heard = (atS: number) => report(atS, "kiosk", "TO_EX", { direction: "in" });
    const story = tell(
      {
        kiosk: { events: [report(2, "kiosk", "TO_EX"), report(2.8, "kiosk", "TO_EX")] },
        till: { events: [heard(2.001), heard(2.801)] },
        tower: {},
      },
      10,
    );
    expect(story.marks.map(({ lane, kind, heardBy }) => [lane, kind, heardBy])).toEqual([
      ["kiosk", "join", ["till"]],
      ["kiosk", "join", ["till"]],
    ]);
  });

  test("given one query that two hosts hear, then it is told once; what stands in another group is not told", () => {
    const story = tell(
      {
        kiosk: { events: [query(1), report(1.5, "kiosk", "IS_EX", { group: "224.0.0.251" })] },
        till: { events: [query(1.002)] },
      },
      10,
    );
    expect(story.marks).toMatchObject([
      { kind: "query", lane: "querier 192.0.2.1", heardBy: ["kiosk", "till"], maxResponseMs: 10_000 },
    ]);
  });

  test("given a thousand reports alike, then the first and last are told one by one and those between as one, with their number", () => {
    const events = [query(0), ...Array.from({ length: 1000 }, (_, i) => report(10 * i, "kiosk", "IS_EX"))];
    const story = tell({ kiosk: { events } }, 10_000);
    const marks = story.marks.filter(({ kind }) => kind === "report");
    expect(marks.length).toBe(121);
    expect(marks.reduce((sum, { count }) => sum + count, 0)).toBe(1000);
    expect(story.timers.filter(({ lane, end }) => lane === "kiosk" && end === "ran-out")).toEqual([]); // renewed all the while
  });

  test("storyLines: given a join and its data, then plain words in the order of time", () => {
    const story = tell(
      {
        tower: { sends: true },
        kiosk: { events: [report(2, "kiosk", "TO_EX")], stays: [[2, null]], frames: [[2.012, 9]] },
      },
      9,
    );
    expect(storyLines(story).map(({ lane, words }) => `${lane}: ${words}`)).toEqual([
      "tower: begins to send board",
      `kiosk: joins ${G4} (IGMPv3, to EXCLUDE {})`,
      `kiosk: asks its kernel to join ${G4}`,
      "kiosk: data of board begins",
      "kiosk: Data comes to kiosk 12 ms after its report.",
      "tower: ends sending board, after 9 s",
      "kiosk: data of board ends, after 6.99 s",
    ]);
  });
});

describe("remarks", () => {
  const SHORT = { carries: { robustness: 2, intervalS: 2 }, responseMs: 500 } as const; // 2 x 2 s + 500 ms = 4.5 s

  test("given queries that no longer come, then the membership runs out, and its data with it", () => {
    const story = tell(
      {
        tower: { sends: true, events: [query(0, SHORT), query(2, SHORT), query(4, SHORT)] },
        kiosk: { events: [query(0, SHORT), report(0.3, "kiosk", "IS_EX")], frames: [[0, 4.8]], stays: [[-1, null]] },
      },
      12,
    );
    expect(story.timers.find(({ lane, end }) => lane === "kiosk" && end === "ran-out")).toMatchObject({ toMs: 4800 });
    expect(story.remarks).toMatchObject([
      { kind: "ran-out", atMs: 4800, sentence: expect.stringContaining("Data to it ended at 4.80 s.") },
    ]);
  });

  test("given a leave that nobody asks about and data that goes on, then both are said", () => {
    const story = tell(
      {
        tower: { sends: true },
        kiosk: {
          events: [query(0, SHORT), report(1, "kiosk", "TO_EX"), report(5, "kiosk", "TO_IN")],
          frames: [[1, 5.5]],
          stays: [[1, 5]],
        },
      },
      12,
    );
    expect(remarksOf(story)).toEqual(["join-answered kiosk", "leave-unanswered kiosk"]);
    const longer = tell(
      {
        tower: { sends: true },
        kiosk: {
          events: [query(0, SHORT), report(1, "kiosk", "TO_EX"), report(5, "kiosk", "TO_IN")],
          frames: [[1, 11.9]],
          stays: [[1, 5]],
        },
      },
      12,
    );
    expect(remarksOf(longer)).toContain("outlived kiosk");
    expect(longer.remarks.at(-1)?.sentence).toBe("Data came to kiosk for at least 6.9 s after its leave.");
  });

  test("given a leave that cuts a neighbour, then it is said of the neighbour; where it answers at its port, the timer is set anew", () => {
    const leave = [
      query(0, SHORT),
      report(1, "kiosk", "TO_EX"),
      report(4, "kiosk", "IS_EX"),
      report(5, "kiosk", "TO_IN"),
      query(5.01, { ...SHORT, group: G4, responseMs: 1000 }),
    ];
    const story = tell(
      {
        tower: { sends: true },
        kiosk: { events: leave, frames: [[1, 7]], stays: [[1, 5]] },
        till: { events: [query(0, SHORT), report(4, "till", "IS_EX")], frames: [[1, 7]], stays: [[0.5, null]] },
      },
      12,
    );
    expect(remarksOf(story)).toContain("neighbour-cut till");
    const answered = tell(
      {
        tower: { sends: true },
        kiosk: { events: leave },
        till: { events: [report(4, "till", "IS_EX"), report(5.3, "till", "IS_EX")] },
      },
      12,
      { portOf: (host) => (host === "tower" ? null : "pier:3") },
    );
    expect(answered.timers.filter(({ lane, kind }) => lane === "kiosk" && kind === "last-member")).toMatchObject([
      { end: "renewed", toMs: 5300 },
    ]);
  });

  test("given a join and no data, then that is said; where the data flowed already, nothing is", () => {
    const joins = [query(0, SHORT), report(1, "kiosk", "TO_EX")];
    expect(remarksOf(tell({ tower: { sends: true }, kiosk: { events: joins, stays: [[1, null]] } }, 4))).toEqual([
      "join-unanswered kiosk",
    ]);
    const flowing = { events: joins, stays: [[1, null]] as const, frames: [[0, 4]] as const };
    expect(remarksOf(tell({ tower: { sends: true }, kiosk: flowing }, 4))).toEqual([]);
  });

  test("given another host's leave and a query that comes to the switch but not to one member, then that one's timer is cut short, and its data ends", () => {
    const leave = (heard: "in" | "out") => report(5, "till", "TO_IN", { direction: heard });
    const asked = query(5.01, { ...SHORT, group: G4, responseMs: 1000 });
    const agents = {
      tower: { sends: true },
      kiosk: { events: [query(0, SHORT), report(4, "kiosk", "IS_EX")], frames: [[0, 7]], stays: [[-1, null]] },
      till: {
        events: [report(0.5, "till", "TO_EX"), report(4, "till", "IS_EX"), leave("out"), asked],
        stays: [[0.5, 5]],
      },
    } as const;
    const portOf = (host: string) => ({ kiosk: "pier:1", till: "pier:2" })[host] ?? null;
    const ends = (queriers: StorySetting["queriers"]) => {
      const story = tell(agents, 12, { portOf, queriers });
      const [end] = story.timers.filter(({ lane, end }) => lane === "kiosk" && end === "ran-out");
      return [end?.kind, end?.toMs, remarksOf(story).filter((one) => one.endsWith("kiosk"))];
    };
    // br_ip4_multicast_query in net/bridge/br_multicast.c: a switch that hears the query lowers the group's timer at each port.
    expect(ends(new Set(["spine"]))).toEqual(["last-member", 7010, ["neighbour-cut kiosk", "ran-out kiosk"]]);
    // A switch that queries itself asks at the port of the leave alone; and of a site without planned queriers nobody knows.
    expect(ends(new Set(["pier"]))[0]).toBe("membership");
    expect(ends(null)[0]).toBe("membership");
  });
});
