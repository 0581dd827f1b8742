import { expect, test } from "vitest";
import { describeFault, Fault } from "../fault.ts";
import { loadScenario, type ScenarioOptions } from "./scenario-file.ts";

const load = (text: string, options?: ScenarioOptions) => loadScenario(text, "s.yaml", options).scenario;

function faultOf(text: string, options?: ScenarioOptions): Fault {
  try {
    load(text, options);
  } catch (error) {
    if (error instanceof Fault) return error;
    throw error;
  }
  throw new Error("expected a Fault");
}

/** A valid scenario on lines 1 to 8, to be changed in one place. */
const VALID = `scenario: containment
streams:
  - { name: board, source: tower, group: 239.195.10.4, rate: 4 Mbit/s }
timeline:
  - { at: 0s, emit: board }
  - { at: 2s, join: board, agents: [kiosk-1] }
  - { at: 20s, leave: board, agents: [kiosk-1] }
  - { at: 26s, stop: board }
`;
const change = (from: string, to: string): string => {
  if (!VALID.includes(from)) throw new Error(`"${from}" is not in the sample`);
  return VALID.replace(from, to);
};

test("loadScenario: given units, then they are bits per second, bytes, nanoseconds and shares", () => {
  const scenario = load(`
scenario: everything
about: One of each.
streams:
  - name: board
    source: tower
    group: FF15:0:0::8000:0001
    port: 5000
    rate: 4 Mbit/s
    payload: 1000 B
    ttl: 8
    dscp: 46
    burst: 4
    ssm: true
    companion: true
timeline:
  - { at: 500ms, emit: board }
  - { after: 1 min, set: board, rate: 500 kbit/s, payload: 96 B }
  - { after: 10s, stop: all }
expect: { loss: 0.01 %, longest-gap: 50 ms, jitter: 5 ms, join-delay: 500 ms, leave-delay: 3 s, duplicates: 0 %, reordered: 0 %, leaks: none }
`);
  expect(scenario).toEqual({
    name: "everything",
    holdNs: 5e9,
    about: "One of each.",
    parameters: {},
    streams: [
      {
        name: "board",
        source: "tower",
        group: "ff15::8000:1", // RFC 5952 section 4
        port: 5000,
        rateBps: 4_000_000,
        payloadBytes: 1000,
        ttl: 8,
        dscp: 46,
        burstPackets: 4,
        isSourceSpecific: true,
        hasCompanion: true,
        entry: 0,
      },
    ],
    timeline: [
      { atNs: 500_000_000, stream: "board", entry: 0, kind: "emit" },
      { atNs: 60_500_000_000, stream: "board", entry: 1, kind: "set", rateBps: 500_000, payloadBytes: 96 },
      { atNs: 70_500_000_000, stream: "board", entry: 2, kind: "stop" },
    ],
    expect: {
      lossRatio: 0.0001,
      longestGapNs: 50_000_000,
      jitterNs: 5_000_000,
      joinDelayNs: 500_000_000,
      leaveDelayNs: 3_000_000_000,
      duplicateRatio: 0,
      reorderedRatio: 0,
      leaks: "none",
    },
    durationNs: 70_500_000_000,
    usesMembershipInterval: false,
    shortened: [],
  });
});

test("loadScenario: given only what must be there, then the rest has its documented default and limits are null", () => {
  const { streams, expect: limits, about } = load(VALID);
  expect(streams[0]).toMatchObject({
    port: 48_620,
    payloadBytes: 1316,
    ttl: 1,
    dscp: 0,
    burstPackets: 1,
    isSourceSpecific: false,
    hasCompanion: false,
  });
  expect(about).toBeNull();
  expect(new Set(Object.values(limits))).toEqual(new Set([null]));
});

test.each([
  ["232.1.2.3", true],
  ["ff35::8000:1", true],
  ["233.252.0.1", false],
  ["ff15::8000:1", false],
])("loadScenario: given the group %s and no ssm key, then joining with a source is %s", (group, expected) => {
  // The source-specific ranges: RFC 4607 section 1.
  expect(load(change("239.195.10.4", group)).streams[0]?.isSourceSpecific).toBe(expected);
});

test("loadScenario: given copies, then names are numbered, groups consecutive, and the written name means all", () => {
  const scenario = load(
    change("rate: 4 Mbit/s }", "rate: 4 Mbit/s, copies: 3 }").replace("239.195.10.4", "239.195.10.254"),
  );
  expect(scenario.streams.map(({ name, group }) => [name, group])).toEqual([
    ["board-1", "239.195.10.254"],
    ["board-2", "239.195.10.255"],
    ["board-3", "239.195.11.0"],
  ]);
  expect(scenario.timeline.filter((action) => action.kind === "emit").map((action) => action.stream)).toEqual([
    "board-1",
    "board-2",
    "board-3",
  ]);
});

test("loadScenario: given a repeat, then `times` counts all of them and `after` goes on from the last", () => {
  const { timeline } = load(
    change(
      "{ at: 20s, leave: board, agents: [kiosk-1] }",
      "{ after: 3s, leave: board, agents: [kiosk-1], repeat: { every: 5s, times: 3 } }",
    ).replace("at: 26s", "after: 1s"),
  );
  expect(timeline.map(({ kind, atNs }) => [kind, atNs / 1e9])).toEqual([
    ["emit", 0],
    ["join", 2],
    ["leave", 5],
    ["leave", 10],
    ["leave", 15],
    ["stop", 16],
  ]);
});

test("loadScenario: given copies that are staggered, then they come one after the other and `after` goes on from the last", () => {
  const scenario = load(`
scenario: many-groups
streams: [ { name: wall, source: tower, group: 239.195.20.1, rate: 100 kbit/s, copies: 3 } ]
timeline:
  - { at: 1s, join: wall, agents: [kiosk-1], stagger: 500ms }
  - { at: 1.2s, emit: wall, stagger: 500ms }
  - { after: 4s, stop: wall }
`);
  expect(scenario.timeline.map(({ kind, stream, atNs }) => [kind, stream, atNs / 1e9])).toEqual([
    ["join", "wall-1", 1],
    ["emit", "wall-1", 1.2],
    ["join", "wall-2", 1.5],
    ["emit", "wall-2", 1.7],
    ["join", "wall-3", 2],
    ["emit", "wall-3", 2.2],
    ["stop", "wall-1", 6.2],
    ["stop", "wall-2", 6.2],
    ["stop", "wall-3", 6.2],
  ]);
});

test("loadScenario: given entries out of order, then they are sorted, and those of one time stay in file order", () => {
  const { timeline } = load(`scenario: order
streams:
  - { name: a, source: x, group: 239.195.0.1, rate: 1 Mbit/s }
  - { name: b, source: x, group: 239.195.0.2, rate: 1 Mbit/s }
timeline:
  - { at: 5s, stop: [b, a] }
  - { at: 1s, join: b }
  - { at: 1s, emit: all }
`);
  expect(timeline.map(({ kind, stream }) => `${kind} ${stream}`)).toEqual([
    "join b",
    "emit a",
    "emit b",
    "stop b",
    "stop a",
  ]);
});

test.each([
  ["no agents", "join: board", null],
  ["all", "join: board, agents: all", null],
  ["one name", "join: board, agents: kiosk-1", ["kiosk-1"]],
  ["a list", "join: board, agents: [kiosk-1, kiosk-2]", ["kiosk-1", "kiosk-2"]],
])("loadScenario: given a join with %s, then null stands for everyone", (_what, join, expected) => {
  const text = change("join: board, agents: [kiosk-1]", join).replace(
    "leave: board, agents: [kiosk-1]",
    "leave: board",
  );
  expect(load(text).timeline[1]).toMatchObject({ kind: "join", agents: expected });
});

const PARAMETERS = `parameters: { hold: 30s, port: 5000, who: [kiosk-1, kiosk-2], from: }
scenario: p
streams:
  - { name: a, source: $from, group: 239.195.0.1, rate: 1 Mbit/s, port: $port }
timeline:
  - { at: 0s, emit: a }
  - { at: 0s, join: a, agents: $who }
  - { after: $hold, stop: a }
`;

test("loadScenario: given parameters, then `$name` stands for its default or for what the caller set", () => {
  const scenario = load(PARAMETERS, { parameters: { hold: "10s", from: "tower", port: "5001", who: "[till-1]" } });
  expect(scenario.parameters).toEqual({ hold: "10s", port: 5001, who: ["till-1"], from: "tower" });
  expect(scenario.streams[0]).toMatchObject({ source: "tower", port: 5001 });
  expect(scenario.timeline[1]).toMatchObject({ agents: ["till-1"] });
  expect(scenario.durationNs).toBe(10e9);
  expect(load(PARAMETERS, { parameters: { from: "tower" } }).durationNs).toBe(30e9);
});

test("loadScenario: given a parameter without a value, then the fault stands at its declaration", () => {
  expect(describeFault(faultOf(PARAMETERS))).toContain('s.yaml:1:63: The parameter "from" has no value');
});

test.each([
  ["a name the file lacks", { hodl: "1s", from: "x" }, 'no parameter "hodl"', 'Did you mean "hold"?'],
  ["a value that is none", { hold: "{ a: 1 }", from: "x" }, "is not a value", "a list such as [a, b]"],
  ["an empty value", { hold: "", from: "x" }, "is not a value", ""],
  ["brackets without end", { hold: "[".repeat(100_000), from: "x" }, "is not a value", ""],
])("loadScenario: given parameters with %s, then the option is at fault", (_what, parameters, sentence, hint) => {
  const fault = faultOf(PARAMETERS, { parameters });
  expect(fault.code).toBe("OPTION_INVALID");
  expect(fault.message).toContain(sentence);
  expect(fault.hint).toContain(hint);
});

test("loadScenario: given a wrong value by parameter, then the fault stands where it is used", () => {
  const fault = faultOf(PARAMETERS, { parameters: { from: "x", hold: "soon" } });
  expect(describeFault(fault)).toContain('s.yaml:8:14: "soon" is not a duration');
});

const TWO = `  - { name: news, source: office, group: 239.195.10.5, rate: 1 Mbit/s }
timeline:
  - { at: 0s, emit: news }
  - { at: 9s, stop: news }`;

/** Each is `VALID` with one change. The mark ▶ stands before the character that the fault must point at. */
const WRONG: readonly (readonly [what: string, markedText: string, fragment: string])[] = [
  [
    "a key misspelt",
    change("scenario:", "▶scenaro:"),
    '"scenaro" is not a key that belongs here. Did you mean "scenario"?',
  ],
  [
    "a stream without a rate",
    change("{ name: board", "▶{ name: board").replace(", rate: 4 Mbit/s", ""),
    'The key "rate" is missing here. It must be a rate such as 4 Mbit/s',
  ],
  [
    "a key of a stream misspelt",
    change("rate:", "▶rat:"),
    '"rat" is not a key that belongs here. Did you mean "rate"?',
  ],
  [
    "a key of a stream that is unknown",
    change("rate:", "▶colour: red, rate:"),
    '"colour" is not a key that belongs here. Keys that belong here: name, source, group',
  ],
  ["a rate without a unit", change("4 Mbit/s", "▶4000000"), '"rate" must be a rate such as 4 Mbit/s, not 4000000'],
  ["a rate in a unit that is none", change("4 Mbit/s", "▶4 Mbps"), '"4 Mbps" is not a rate'],
  ["a rate of nothing", change("4 Mbit/s", "▶0 bit/s"), "A rate of 0 sends nothing"],
  ["a rate too slow to measure", change("4 Mbit/s", "▶1 kbit/s"), "sends only once in 10.5 s"],
  ["a payload too small", change("rate:", "payload: ▶95 B, rate:"), "cannot have 95 B"],
  ["a payload too large", change("rate:", "payload: ▶65508 B, rate:"), "cannot have 65508 B"],
  ["a payload of half bytes", change("rate:", "payload: ▶100.5 B, rate:"), "not a whole number of bytes"],
  ["a name with a blank", change("name: board", "name: ▶big board"), '"name" must be 1 to 40 letters'],
  ["a stream called all", change("name: board", "name: ▶all"), 'cannot be called "all"'],
  ["a group that is no address", change("239.195.10.4", "▶239.195.10"), '"239.195.10" is not an IPv4 or IPv6 address'],
  [
    "a group that is a host",
    change("239.195.10.4", "▶192.0.2.1"),
    "192.0.2.1 is not a multicast group. Groups lie in 224.0.0.0 to",
  ],
  ["an IPv6 group that is a host", change("239.195.10.4", "▶2001:db8::1"), "2001:db8::1 is not a multicast group"],
  ["an IPv6 address with two gaps", change("239.195.10.4", "▶ff15::1::2"), "is not an IPv4 or IPv6 address"],
  ["copies past the last group", change("239.195.10.4", "▶239.255.255.255, copies: 2"), "run past the end"],
  [
    "a port that is none",
    change("rate:", "port: ▶65536, rate:"),
    '"port" must be a whole number from 1 to 65535, not 65536',
  ],
  ["a TTL of 0", change("rate:", "ttl: ▶0, rate:"), '"ttl" must be a whole number from 1 to 255, not 0'],
  ["a DSCP of 64", change("rate:", "dscp: ▶64, rate:"), '"dscp" must be a whole number from 0 to 63, not 64'],
  ["a flag in quotes", change("rate:", 'ssm: ▶"yes", rate:'), '"ssm" must be true or false, not "yes"'],
  [
    "streams without an entry",
    change("streams:", "streams:▶").replace(/ {2}- \{ name.*\n/, ""),
    '"streams" must be a list of streams, and nothing is written here',
  ],
  [
    "an empty list of streams",
    VALID.replace(/streams:\n.*\n/, "streams: ▶[]\n"),
    '"streams" must have at least 1 entry, not 0',
  ],
  [
    "keys where a list is expected",
    VALID.replace(/streams:\n.*\n/, "streams:\n  ▶board: 1\n"),
    '"streams" must be a list of streams, not a set of keys',
  ],
  ["two streams of one name", change("timeline:", TWO.replace("news", "▶board")), 'Two streams are called "board"'],
  [
    "a copy with the name of a stream",
    change("board,", "board-2,").replace("timeline:", TWO.replace("news", "▶board").replace("rate", "copies: 2, rate")),
    'Two streams are called "board-2"',
  ],
  [
    "two streams on one group and port",
    change("timeline:", TWO.replace("239.195.10.5", "▶239.195.10.4")),
    'The streams "board" and "news" both use group 239.195.10.4 and port 48620',
  ],
  [
    "two ways to write one IPv6 group",
    change("239.195.10.4", "ff15::8000:1").replace("timeline:", TWO.replace("239.195.10.5", "▶FF15:0::8000:0001")),
    "both use group ff15::8000:1",
  ],
  ["an unknown stream", change("emit: board", "emit: ▶bord"), 'No stream is called "bord". Did you mean "board"?'],
  ["an unknown stream in a list", change("emit: board", "emit: [board, ▶nws]"), 'No stream is called "nws"'],
  ["an unknown parameter", change("at: 20s", "at: ▶$hold"), 'No parameter is called "hold"'],
  ["a time without a unit", change("at: 2s", "at: ▶2"), '"at" must be a duration such as 30s, not 2'],
  ["no time", change("{ at: 2s, ", "▶{ "), "This entry does not say when"],
  ["two times", change("{ at: 2s,", "▶{ at: 2s, after: 1s,"), 'This entry has both "at" and "after"'],
  ["no verb", change("{ at: 26s, stop: board", "▶{ at: 26s"), "This entry does nothing"],
  [
    "two verbs",
    change("{ at: 26s, stop: board", "▶{ at: 26s, stop: board, leave: board"),
    "This entry does two things: stop and leave",
  ],
  ["an entry that is a word", change("{ at: 26s, stop: board }", "▶stop"), "This entry must be an entry such as"],
  [
    "agents for a source's verb",
    change("emit: board", "emit: board, ▶agents: [kiosk-1]"),
    '"agents" does not go with "emit"',
  ],
  ["a rate for a join", change("join: board", "join: board, ▶rate: 1 Mbit/s"), '"rate" does not go with "join"'],
  [
    "a set of nothing",
    change("{ at: 20s, leave: board, agents: [kiosk-1]", "▶{ at: 20s, set: board"),
    '"set" changes nothing here',
  ],
  [
    "a set that makes it too slow",
    change("leave: board, agents: [kiosk-1]", "set: board, rate: ▶1 kbit/s"),
    "sends only once in 10.5 s",
  ],
  [
    "a set before the start",
    change("at: 0s, emit: board", "at: 3s, emit: board")
      .replace("join: board, agents: [kiosk-1]", "set: ▶board, rate: 1 Mbit/s")
      .replace(/.*leave.*\n/, ""),
    '"board" is not running here',
  ],
  [
    "an agent twice",
    change("agents: [kiosk-1] }", "agents: [kiosk-1, ▶kiosk-1] }"),
    '"kiosk-1" stands here a second time',
  ],
  ["all within a list", change("agents: [kiosk-1] }", "agents: [kiosk-1, ▶all] }"), '"all" stands alone'],
  ["no agents at all", change("agents: [kiosk-1] }", "agents: ▶[] }"), '"agents" must have at least 1 entry'],
  ["the source as listener", change("agents: [kiosk-1]", "agents: ▶[tower]"), '"tower" is the source of "board"'],
  [
    "a leave without a join",
    change("leave: board", "leave: ▶board").replace(/.*join.*\n/, ""),
    'Nobody has joined "board" by then',
  ],
  [
    "a leave by somebody else",
    change("leave: board, agents: [kiosk-1]", "leave: board, agents: ▶[kiosk-2]"),
    '"kiosk-2" has not joined "board" by then',
  ],
  [
    "a leave before the join",
    change("at: 20s, leave: board", "at: 1s, leave: ▶board"),
    'Nobody has joined "board" by then',
  ],
  [
    "a stop before the start",
    change("at: 0s", "at: 27s").replace("stop: board", "stop: ▶board"),
    '"board" is not running here',
  ],
  [
    "a second start",
    change("join: board, agents: [kiosk-1]", "emit: ▶board").replace(/.*leave.*\n/, ""),
    '"board" is already running here',
  ],
  [
    "a start without a stop",
    change("{ at: 0s", "▶{ at: 0s").replace(/.*stop.*\n/, ""),
    '"board" starts here and is never stopped',
  ],
  [
    "a stream that is never sent",
    change("timeline:", `${TWO.split("\n")[0]}\ntimeline:`).replace("{ name: news", "▶{ name: news"),
    'Nothing in the timeline emits "news"',
  ],
  [
    "repeats without time between",
    change("at: 20s,", "at: 20s, repeat: { every: ▶0s, times: 2 },"),
    "Repeats need some time between them",
  ],
  [
    "repeats without a number",
    change("at: 20s,", "at: 20s, repeat: ▶{ every: 1s },"),
    'The key "times" is missing here',
  ],
  [
    "repeats beyond count",
    change("at: 20s,", "at: 20s, repeat: { every: 1ms, times: ▶10001 },"),
    '"times" must be a whole number from 1 to 10000',
  ],
  ["a run of months", change("{ at: 26s", "▶{ at: 32d"), "more than 31 days after the start"],
  ["a limit in the wrong unit", `${VALID}expect:\n  loss: ▶5 ms\n`, '"5 ms" is not a share'],
  ["a limit above the whole", `${VALID}expect: { loss: ▶101 % }\n`, "is more than the whole"],
  ["an unknown limit", `${VALID}expect: { ▶longest_gap: 50 ms }\n`, 'Did you mean "longest-gap"?'],
  [
    "a word that is not in the list",
    `${VALID}expect: { leaks: ▶non }\n`,
    '"leaks" must be none or any, not "non". Did you mean "none"?',
  ],
];

test.each(WRONG)("loadScenario: given %s, then the fault names the place", (_what, markedText, fragment) => {
  const before = markedText.slice(0, markedText.indexOf("▶")).split("\n");
  const fault = faultOf(markedText.replace("▶", ""));
  expect(fault.code).toBe("SCENARIO_INVALID");
  expect(describeFault(fault)).toContain(`s.yaml:${before.length}:${(before.at(-1) ?? "").length + 1}: `);
  expect(describeFault(fault)).toContain(fragment);
});

test("loadScenario: given more streams or actions than an agent's task holds, then it says so", () => {
  const stream = (index: number) =>
    `  - { name: s${index}, source: x, group: 239.${index}.0.0, rate: 1 Mbit/s, copies: 1024 }\n`;
  const streams = [1, 2, 3, 4, 5].map(stream).join("");
  expect(faultOf(`scenario: big\nstreams:\n${streams}timeline:\n  - { at: 0s, emit: all }\n`).message).toContain(
    "these are 5120 streams",
  );
  const actions = change("at: 20s,", "at: 20s, repeat: { every: 1ms, times: 10000 },").replace(
    "rate: 4",
    "copies: 7, rate: 4",
  );
  expect(faultOf(actions).message).toContain("more than 65536 actions");
});

test("loadScenario: given several mistakes, then the first in the file is thrown and the others come with it", () => {
  const text = change("4 Mbit/s", "4 Mbps").replace("239.195.10.4", "192.0.2.1");
  const fault = faultOf(text);
  expect([fault, ...fault.others].map((one) => one.place)).toEqual([
    { file: "s.yaml", line: 3, column: 42 },
    { file: "s.yaml", line: 3, column: 59 },
  ]);
});

test("loadScenario: given a scenario, then the document finds the place of what an action came from", () => {
  const { scenario, document } = loadScenario(VALID, "s.yaml");
  const join = scenario.timeline.find((action) => action.kind === "join");
  expect(document.placeOf(["timeline", join?.entry ?? -1, "agents", 0])).toEqual({
    file: "s.yaml",
    line: 6,
    column: 37,
  });
});
