import type { SiteIndex } from "../site/site-index.ts";
import { foretell } from "./foretell.ts";
import type { Probe, ProbeStream, ProbeTask, SilentStream } from "./probe.ts";
import { type Parting, partingOf } from "./remaining.ts";

/** More streams than this at once are no small probe any more. Our choice, no source. */
const MOST_STREAMS = 4;
/** One more stream, or host, has to be worth this many suspects; what it tells about one place's elements counts as little. Our choice, no source. */
const STREAM_COST = 0.02;
const HOST_COST = 0.002;
const ELEMENT_WORTH = 0.02;

/** Who joins a group, and which streams to it a probe might have. */
interface GroupPlan {
  readonly group: string;
  readonly isSourceSpecific: boolean;
  readonly listeners: readonly string[];
}

/**
 * The streams that part the suspects best, from the hosts that are given; the first one repeats what failed. By trying one
 * after the other and keeping what is worth most, for different sets of listeners: the fewer join, the more depends on
 * their membership reports.
 * @returns null where what failed cannot be repeated with these hosts
 */
export function chooseStreams(site: SiteIndex, task: ProbeTask, hosts: readonly string[]): Probe | null {
  const first = task.silent.find(
    ({ source, hosts: silent }) => isIn(task.senders, source) && silent.some((host) => isIn(hosts, host)),
  );
  if (first === undefined) return null;
  const looks = new Looks(site, task);
  const senders = hosts.filter((host) => isIn(task.senders, host));
  let best: { readonly streams: readonly ProbeStream[]; readonly cost: number } | null = null;
  for (const joined of listenerChoices(task, first, hosts)) {
    const repeated = { group: first.group, isSourceSpecific: first.isSourceSpecific, listeners: joined };
    const begun = [streamOf(task, repeated, first.source)];
    const spares = task.spareGroup === null ? [null] : [null, ...listenerChoices(task, first, hosts)];
    for (const spare of spares) {
      const plans: GroupPlan[] =
        spare === null || task.spareGroup === null
          ? [repeated]
          : [repeated, { group: task.spareGroup, isSourceSpecific: false, listeners: spare }];
      const streams = addGreedily(task, plans, begun, senders, looks);
      const cost = looks.cost(streams);
      if (best === null || cost < best.cost - 1e-9) best = { streams, cost };
    }
  }
  if (best === null) return null;
  const streams = withoutIdleListeners(best.streams, first, looks);
  const { expected, most } = looks.parting(streams);
  return { streams, expectedSuspects: expected, mostSuspects: most };
}

/** Everybody; whom the silence befell; those and one or two who were spared. */
function listenerChoices({ silent }: ProbeTask, first: SilentStream, hosts: readonly string[]): string[][] {
  const hit = new Set(silent.flatMap((stream) => stream.hosts));
  const own = hosts.filter((host) => isIn(first.hosts, host));
  const all = hosts.filter((host) => hit.has(host));
  const spared = hosts.filter((host) => !hit.has(host) && host !== first.source);
  return [[...hosts], all, own.slice(0, 1), ...spared.slice(0, 6).map((host) => [...own, host])];
}

function addGreedily(
  task: ProbeTask,
  plans: readonly GroupPlan[],
  begun: readonly ProbeStream[],
  senders: readonly string[],
  looks: Looks,
): readonly ProbeStream[] {
  let streams = begun;
  while (streams.length < MOST_STREAMS) {
    let better: readonly ProbeStream[] | null = null;
    let least = looks.cost(streams) - 1e-9;
    for (const plan of plans) {
      for (const source of senders) {
        if (streams.some((one) => one.source === source && one.group === plan.group)) continue;
        const more = [...streams, streamOf(task, plan, source)];
        const cost = looks.cost(more);
        if (cost < least) [better, least] = [more, cost];
      }
    }
    if (better === null) break;
    streams = better;
  }
  return streams;
}

const streamOf = (
  { causes }: ProbeTask,
  { group, isSourceSpecific, listeners }: GroupPlan,
  source: string,
): ProbeStream => ({
  source,
  group,
  isSourceSpecific,
  payloadBytes: causes.payloadBytes,
  listeners: listeners.filter((host) => host !== source),
});

/** Whoever tells nothing that others do not tell stays out, so that the probe is as small as it can be. */
function withoutIdleListeners(
  streams: readonly ProbeStream[],
  first: SilentStream,
  looks: Looks,
): readonly ProbeStream[] {
  let kept = streams;
  for (const group of new Set(streams.map((stream) => stream.group))) {
    for (const host of new Set(streams.filter((one) => one.group === group).flatMap(({ listeners }) => listeners))) {
      const fewer = kept
        .map((one) =>
          one.group === group ? { ...one, listeners: one.listeners.filter((listener) => listener !== host) } : one,
        )
        .filter(({ listeners }) => listeners.length > 0);
      const [repeated] = fewer;
      const isRepeated =
        repeated?.source === first.source &&
        repeated.group === first.group &&
        repeated.listeners.some((listener) => isIn(first.hosts, listener));
      if (isRepeated && looks.cost(fewer) < looks.cost(kept)) kept = fewer;
    }
  }
  return kept;
}

const isIn = (names: readonly string[], name: string): boolean => names.includes(name);

/** What a host would show, as `partingOf` reads it. */
const MARKS = { no: "+", perhaps: "?", yes: "-" } as const;

/** What streams would show of each element, worked out once for each stream. */
class Looks {
  readonly #site: SiteIndex;
  readonly #task: ProbeTask;
  readonly #known = new Map<string, readonly string[]>();

  constructor(site: SiteIndex, task: ProbeTask) {
    this.#site = site;
    this.#task = task;
  }

  parting(streams: readonly ProbeStream[]): Parting {
    const { suspects, causes } = this.#task;
    const shown = streams.map((stream) => this.#of(stream));
    const looks = causes.elements.map((_, at) => shown.map((one) => one[at] ?? "").join(" "));
    return partingOf(suspects, causes.elements, looks);
  }

  cost(streams: readonly ProbeStream[]): number {
    const { expected, expectedElements } = this.parting(streams);
    const hosts = streams.reduce((sum, { listeners }) => sum + listeners.length, 0);
    return expected + ELEMENT_WORTH * expectedElements + STREAM_COST * streams.length + HOST_COST * hosts;
  }

  /** By element: a mark for each host, in the hosts' order. */
  #of(stream: ProbeStream): readonly string[] {
    const key = `${stream.source} ${stream.group} ${stream.listeners.join(" ")}`;
    const known = this.#known.get(key);
    if (known !== undefined) return known;
    const { elements } = this.#task.causes;
    const foretold = foretell(this.#site, stream, elements);
    const looks = elements.map((_, at) => foretold.map(({ silenced }) => MARKS[silenced[at] ?? "no"]).join(""));
    this.#known.set(key, looks);
    return looks;
  }
}
