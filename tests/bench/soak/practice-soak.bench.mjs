/**
 * Five minutes of the demo's site with faults of which is known what, where and when: what the night tells of them is held
 * against the instants at which the practice site put them in and took them out. Real agents, real packets.
 *
 *   npm run build && node tests/bench/soak/practice-soak.bench.mjs [--json FILE] [--until 150]
 *
 * Exit code 1 where a fault was missed, told at a wrong time or place, something was invented, or this process, which is
 * the controller, took 300 MB or more. What the machine itself did (a host that dropped packets, a late source) is no fault of
 * the site's; it is printed apart, and on a machine that is busy with other things there may be some.
 */
import { readFileSync, writeFileSync } from "node:fs";
import { loadavg } from "node:os";
import { parseArgs } from "node:util";
import { ControllerClient, raisePractice } from "@dyetrace/controller";
import { loadPracticeFaults, playPracticeFaults } from "@dyetrace/practice";
import { loadSitePlan } from "@dyetrace/site";

const { values: options } = parseArgs({
  options: { json: { type: "string" }, until: { type: "string", default: "300" } },
});
/** Faults that end later are left out, so that a shorter form meets the first ones. */
const SECONDS = Number(options.until);
const MOST_MB = 300;
/** A told time may be off by a report's second, and by what two packets are apart. */
const WITHIN_MS = 1000 + 50;
/** A group comes back with the next query of the site (10 s) and its answer (1 s). */
const NEXT_QUERY_MS = 11_000;
/** A place is told as a segment with its node, and as such of one more segment at most. */
const MOST_SUSPECTS = 3;
const OF_THE_MACHINE = new Set(["host-loss", "source", "no-control", "clock-step"]);

const LISTENERS = ["kiosk-1", "kiosk-2", "board-1", "board-2", "lounge", "till-1", "till-2", "tablet"];
const HALL = ["lounge", "till-1", "till-2", "tablet"];
const EVERYBODY = [...LISTENERS, "tower", "office"];
/**
 * `tells`: what the night has to say of it. `from` and `to` are the fault's beginning and end unless said otherwise; `streams`
 * are both unless said. `mayTell`: what the site itself does after it, which is no fault of the night's.
 */
const FAULTS = [
  {
    fault: "drop, on: 'core:1>pier-east:24', share: 100 %",
    from: 20,
    to: 24,
    tells: [{ kind: "loss", agents: ["kiosk-1", "kiosk-2"], place: "core:1>pier-east:24" }],
  },
  {
    fault: "drop, on: 'pier-west:1>board-1:eth0', share: 100 %",
    from: 22,
    to: 27,
    tells: [{ kind: "loss", agents: ["board-1"], place: "pier-west:1>board-1:eth0" }],
  },
  {
    fault: "duplicate, on: 'core:2>pier-west:24', share: 20 %",
    from: 45,
    to: 57,
    tells: [{ kind: "duplicates", agents: ["board-1", "board-2"], place: "core:2>pier-west:24" }],
  },
  {
    fault: "reorder, on: 'core:3>hall:24', every: 9, delay: 30ms",
    from: 50,
    to: 60,
    tells: [{ kind: "reordered", agents: HALL, place: "core:3>hall:24" }],
  },
  {
    fault: "drop, on: 'pier-east:2>kiosk-2:eth0', share: 20 %",
    from: 52,
    to: 59,
    tells: [{ kind: "loss", agents: ["kiosk-2"], place: "pier-east:2>kiosk-2:eth0" }],
  },
  {
    fault: "host-firewall, on: lounge, block: udp, port: 48620",
    from: 85,
    to: 90,
    tells: [{ kind: "loss", agents: ["lounge"], place: "lounge" }],
  },
  {
    fault: "reverse-path, on: kiosk-1, source: office",
    from: 87,
    to: 94,
    tells: [{ kind: "loss", agents: ["kiosk-1"], place: "kiosk-1", streams: ["music"] }],
  },
  {
    fault: "duplicate, on: 'pier-east:1>kiosk-1:eth0', share: 30 %",
    from: 120,
    to: 129,
    tells: [{ kind: "duplicates", agents: ["kiosk-1"], place: "pier-east:1>kiosk-1:eth0" }],
  },
  {
    fault: "drop, on: hall-hub, share: 100 %",
    from: 123,
    to: 126,
    tells: [{ kind: "loss", agents: ["till-1", "till-2"], place: "hall-hub" }],
  },
  {
    // 95 packets/s come: about a third is over the limit.
    fault: "rate-limit, on: 'core:2>pier-west:24', packets: 60, burst: 5",
    from: 124,
    to: 132,
    tells: [{ kind: "loss", agents: ["board-1", "board-2"], place: "core:2>pier-west:24" }],
  },
  {
    // Packets of the board's are larger, those of the music are not.
    fault: "mtu, on: 'core:3', size: 1000 B",
    from: 160,
    to: 166,
    tells: [{ kind: "loss", agents: HALL, place: "core:3>hall:24", streams: ["board"] }],
  },
  {
    fault: "link-down, on: 'pier-west:2>board-2:eth0'",
    from: 164,
    to: 165,
    tells: [
      { kind: "link", agents: ["board-2"], place: "board-2" },
      { kind: "loss", agents: ["board-2"], place: "pier-west:2>board-2:eth0", endsWithinMs: NEXT_QUERY_MS },
    ],
  },
  {
    // It asks as it is plugged in, and its lower address wins (RFC 3376, section 6.6.2); once it was silent for the other
    // querier present interval (20.5 s here, section 8.5) the old one asks again.
    fault: "second-querier, on: pier-west",
    from: 200,
    to: 245,
    tells: [{ kind: "querier-change", agents: EVERYBODY, place: null, endsWithinMs: 20_500 + NEXT_QUERY_MS }],
    // Nobody was asked for a while, so tables have lapsed by then, and hosts answer within a second (section 8.3).
    mayTell: (one, takenMs) =>
      one.kind === "loss" && one.fromMs > takenMs && one.toMs < takenMs + 20_500 + NEXT_QUERY_MS + 2000,
  },
];

const plan = readFileSync(new URL("../../../packages/practice/demo/quillfen.yaml", import.meta.url), "utf8");
const scenario = `scenario: soak
streams:
  - { name: board, source: tower, group: 239.195.10.4, rate: 600 kbit/s, payload: 1250 B }
  - { name: music, source: office, group: 239.195.10.5, rate: 140 kbit/s, payload: 500 B }
timeline:
  - { at: 0s, join: [board, music], agents: [${LISTENERS.join(", ")}] }
  - { at: 2s, emit: [board, music] }
  - { at: ${SECONDS - 2}s, stop: [board, music] }
`;
const graph = loadSitePlan(plan, "plan.yaml");
const chosen = FAULTS.filter(({ to }) => to <= SECONDS - 30);
const file = `faults:\n${chosen.map(({ fault, from, to }) => `  - { fault: ${fault}, at: ${from}s, until: ${to}s }`).join("\n")}\n`;
const faults = loadPracticeFaults(file, "faults.yaml", graph);

console.log(`${chosen.length} faults in ${SECONDS} s; load ${loadavg()[0].toFixed(1)}`);
const { night, acts } = await soak();
const result = judge(night, acts);
console.log(JSON.stringify(result, null, 2));
if (options.json !== undefined) writeFileSync(options.json, `${JSON.stringify({ ...result, night, acts }, null, 2)}\n`);
if (result.missed.length + result.invented.length > 0 || result.peakMb >= MOST_MB) process.exitCode = 1;

/** Plays it. @returns what the night tells, and from when to when each act of the site's took, ms since 1970 */
async function soak() {
  const practice = await raisePractice({ graph, listen: { host: "127.0.0.1", port: 0 }, log: () => {} });
  try {
    return await soakOn(practice);
  } finally {
    await practice[Symbol.asyncDispose]();
  }
}

async function soakOn(practice) {
  const client = new ControllerClient(practice.controller.url);
  const acts = faults.map(() => ({ put: null, taken: null }));
  const timed = (name, act) => async (some) => {
    const beganMs = Date.now();
    await act(some);
    for (const one of some) acts[faults.indexOf(one)][name] = [beganMs, Date.now()];
  };
  const site = {
    inject: timed("put", (some) => practice.site.inject(some)),
    lift: timed("taken", (some) => practice.site.lift(some)),
  };
  const runId = await client.startRun({
    scenario: { file: "soak.yaml", text: scenario },
    site: { file: "plan.yaml", text: plan },
    parameters: {},
    despite: [],
  });
  let play = null;
  for await (const progress of client.followRun(runId)) {
    if (progress.kind === "failed") throw new Error(`${progress.code}: ${progress.message}`);
    if (progress.kind === "go" && play === null) {
      play = new Promise((resolve) => setTimeout(resolve, progress.startsInMs)).then(() =>
        playPracticeFaults(site, faults, (error) => console.error(error)),
      );
    }
    if (progress.kind === "done") break;
  }
  await (await play)?.stop();
  return { night: await client.ask("readNight", { path: { id: runId } }), acts };
}

/** What was told against what was done. */
function judge(night, acts) {
  const startMs = Date.parse(night.startedAt);
  const left = [...night.incidents];
  const [missed, errorsMs] = [[], []];
  for (const [index, { fault, tells }] of chosen.entries()) {
    for (const known of tells) {
      const put = acts[index].put;
      const taken = acts[index].taken;
      const isIt = (one) =>
        one.kind === known.kind &&
        one.isSteady !== true &&
        isOf(known, one) &&
        offMs(one, put, taken, known, startMs) !== null;
      const at = left.findIndex(isIt);
      if (at >= 0) errorsMs.push(...offMs(left[at], put, taken, known, startMs));
      if (at >= 0) left.splice(at, 1);
      else missed.push({ fault, ...known, fromS: (put[0] - startMs) / 1000, toS: (taken[1] - startMs) / 1000 });
    }
  }
  const isAfterwards = (one) =>
    chosen.some(({ mayTell }, index) => mayTell?.(one, acts[index].taken[1] - startMs) === true);
  const afterwards = left.filter(isAfterwards);
  const rest = left.filter((one) => !isAfterwards(one));
  const short = ({ kind, title, fromMs, toMs, agents, suspects }) => ({ kind, title, fromMs, toMs, agents, suspects });
  errorsMs.sort((a, b) => a - b);
  return {
    headline: night.headline,
    faults: chosen.length,
    incidents: chosen.reduce((sum, { tells }) => sum + tells.length, 0),
    missed,
    afterwards: afterwards.map(short),
    invented: rest.filter(({ kind }) => !OF_THE_MACHINE.has(kind)).map(short),
    ofTheMachine: rest.filter(({ kind }) => OF_THE_MACHINE.has(kind)).map(short),
    errorMs: { median: Math.round(errorsMs[errorsMs.length >> 1] ?? 0), most: Math.round(errorsMs.at(-1) ?? 0) },
    peakMb: Math.round(process.resourceUsage().maxRSS / 1024),
  };
}

function isOf({ agents, place, streams = ["board", "music"] }, told) {
  const isSame = (some, others) => some.length === others.length && some.every((one) => others.includes(one));
  return (
    isSame(agents, told.agents) &&
    (told.streams.length === 0 || isSame(streams, told.streams)) &&
    (place === null || (told.suspects.includes(place) && told.suspects.length <= MOST_SUSPECTS))
  );
}

/** @returns how far beginning and end are off, ms; null: too far */
function offMs(told, from, to, { endsWithinMs = 0 }, startMs) {
  const outside = (ms, [low, high]) => Math.max(0, low - ms, ms - high);
  const begins = outside(startMs + told.fromMs, from);
  const ends = outside(startMs + told.toMs, [to[0], to[1] + endsWithinMs]);
  // A query comes when it comes: the first within a few seconds of the change.
  const within = told.kind === "querier-change" ? 10_000 : WITHIN_MS;
  return begins <= within && ends <= within ? [begins, ends] : null;
}
