import type { ReportFinding, RunReport, RunStory } from "@dyetrace/wire";

/** What is shown before and after what a finding is about. */
const AROUND_MS = 2_000;

/** The story of one group: its own messages, and the queries about all groups. */
export function narrowToGroup(story: RunStory, group: string): RunStory {
  const family = group.includes(":") ? 6 : 4;
  const isOf = (one: { readonly group: string | null }): boolean => one.group === group;
  const isOfFamily = (lane: string): boolean => {
    const own = story.lanes.find(({ id }) => id === lane)?.family ?? null;
    return own === null || own === family;
  };
  const kept: RunStory = {
    ...story,
    marks: story.marks.filter((mark) => isOf(mark) || (mark.group === null && isOfFamily(mark.lane))),
    data: story.data.filter(isOf),
    timers: story.timers.filter((timer) => isOf(timer) || (timer.group === null && timer.family === family)),
    tables: story.tables.filter(isOf),
    remarks: story.remarks.filter((one) => one.group === null || isOf(one)),
  };
  return { ...kept, lanes: lanesOf(kept) };
}

/**
 * The story of one finding: its streams' groups; of the hosts those that it accuses or that its streams failed, and one
 * that they did not; the queriers; and the time in which that happened.
 */
export function narrowToFinding(story: RunStory, finding: ReportFinding, report: RunReport): RunStory {
  const streams = new Set(finding.streams);
  const groups = new Set(report.streams.filter(({ name }) => streams.has(name)).map(({ group }) => group));
  const hosts = concerned(story, finding, report);
  const isTold = (lane: string): boolean =>
    hosts.has(lane) || story.lanes.some(({ id, kind }) => id === lane && kind !== "host");
  const isOf = ({ group }: { readonly group: string | null }): boolean =>
    group === null || groups.size === 0 || groups.has(group);
  const families = new Set([...groups].map((group) => (group.includes(":") ? 6 : 4)));
  const kept: RunStory = {
    ...story,
    marks: story.marks.filter((mark) => isOf(mark) && isTold(mark.lane)),
    data: story.data.filter((one) => isOf(one) && isTold(one.lane)),
    timers: story.timers.filter(
      (timer) => isOf(timer) && isTold(timer.lane) && (families.size === 0 || families.has(timer.family)),
    ),
    tables: story.tables.filter((one) => isOf(one) && (one.towards === null || hosts.has(one.towards))),
    remarks: story.remarks.filter((one) => isOf(one) && hosts.has(one.lane)),
  };
  const lanes = lanesOf(kept).filter(({ family }) => family === null || families.size === 0 || families.has(family));
  return { ...kept, lanes, ...timeOf(kept) };
}

/** Names in suspects: nodes, and both ends of links (`a:port>b:port`, perhaps with a VLAN). */
const nodesIn = (suspect: string): string[] =>
  suspect
    .replace(/ vlan \d+$/, "")
    .split(">")
    .map((end) => end.replace(/:[^:]*$/, ""));

function concerned(
  story: RunStory,
  { suspects, streams, causes }: ReportFinding,
  report: RunReport,
): ReadonlySet<string> {
  const all = story.lanes.filter(({ kind }) => kind === "host").map(({ id }) => id);
  const hostOf = (agent: string): string => story.lanes.find((lane) => lane.agent === agent)?.id ?? agent;
  const named = new Set(suspects.flatMap(nodesIn));
  const silent = new Set((causes?.silent ?? []).map(({ host }) => host));
  const ofStreams = (one: { readonly stream: string }): boolean => streams.includes(one.stream);
  const remarked = new Set(
    story.remarks.filter(({ kind }) => kind !== "join-answered" && kind !== "leave-answered").map(({ lane }) => lane),
  );
  const hit = report.receipts.filter(
    (one) => ofStreams(one) && ((one.lost ?? 0) > 0 || one.received === 0 || (one.leavesWithoutEffect ?? 0) > 0),
  );
  const uninvited = report.bystanders.filter((one) => ofStreams(one) && (one.frames ?? 0) > 0);
  const hosts = new Set(
    all
      .filter((host) => named.has(host) || silent.has(host) || remarked.has(host))
      .concat(
        hit.map(({ listener }) => hostOf(listener)),
        uninvited.map(({ agent }) => hostOf(agent)),
      ),
  );
  const well = report.receipts.find((one) => ofStreams(one) && one.lost === 0 && !hosts.has(hostOf(one.listener)));
  const sources = report.streams.filter(({ name }) => streams.includes(name)).map(({ source }) => hostOf(source));
  return new Set([...hosts, ...(well === undefined ? [] : [hostOf(well.listener)]), ...sources]);
}

/** From the first thing that is told of the hosts to the last. */
function timeOf({ marks, data, timers, fromMs, toMs, remarks }: RunStory): Pick<RunStory, "fromMs" | "toMs"> {
  const times = [
    ...marks.filter(({ group }) => group !== null).flatMap(({ atMs, lastMs }) => [atMs, lastMs]),
    ...data.flatMap((band) => [band.fromMs, band.toMs]),
    ...timers.filter(({ group }) => group !== null).flatMap((timer) => [timer.fromMs, timer.toMs]),
    ...remarks.map(({ atMs }) => atMs),
  ];
  if (times.length === 0) return { fromMs, toMs };
  let [first, last] = [Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY];
  for (const atMs of times) {
    first = Math.min(first, atMs);
    last = Math.max(last, atMs);
  }
  return { fromMs: Math.max(fromMs, first - AROUND_MS), toMs: Math.min(toMs, last + AROUND_MS) };
}

/** Lanes on which something is told, and hosts that heard something of it. */
function lanesOf({ lanes, marks, data, timers }: RunStory): RunStory["lanes"][number][] {
  const used = new Set([...marks, ...data, ...timers].map(({ lane }) => lane));
  return lanes.filter(({ id }) => used.has(id));
}
