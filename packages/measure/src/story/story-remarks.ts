import type { StoryData, StoryRemark, StoryTimer } from "@dyetrace/wire";
import { answerTo, type MembershipHistory } from "./membership-bars.ts";
import type { Said } from "./said.ts";
import { sayMs } from "./say-span.ts";

/** One membership with everything that is known of it. */
export interface Membership {
  readonly host: string;
  readonly history: MembershipHistory;
  readonly bars: readonly StoryTimer[];
  /** What came to this host for the group, and what was sent to the group, in the order of time. */
  readonly came: readonly StoryData[];
  readonly sent: readonly StoryData[];
}

/** Data that comes this long after a timer's end, or ends so much before, has nothing to do with it. Common practice, no source. */
const NEAR_MS = 500;
/** A leave's repetition comes within this time (RFC 3376, section 8.11: 1 s at most, robustness - 1 times). */
const REPEATED_WITHIN_MS = 3_000;

const after = (ms: number): string => (ms <= 0 ? "at once" : `${sayMs(ms)} later`);

/** What the messages and the data of one membership say together. */
export function remarksOn(one: Membership): StoryRemark[] {
  const { own } = one.history;
  const firsts = own.filter(({ kind, atMs }, index) => {
    const before = own[index - 1];
    return (
      before === undefined || before.kind !== kind || (kind === "leave" && atMs - before.atMs > REPEATED_WITHIN_MS)
    );
  });
  return firsts
    .flatMap((said, index) => {
      if (said.kind === "leave") return leaveRemarks(one, said, firsts[index + 1]?.atMs ?? Number.POSITIVE_INFINITY);
      const isNew = index === 0 || firsts[index - 1]?.kind === "leave";
      return isNew && said.atMs >= 0 ? joinRemark(one, said) : [];
    })
    .concat(ranOut(one));
}

type Tell = (kind: StoryRemark["kind"], atMs: number, sentence: string) => StoryRemark;

const teller =
  ({ host, history: { group } }: Membership): Tell =>
  (kind, atMs, sentence) => ({ kind, lane: host, group, atMs, sentence });

/** Whether the data came, where there was data to come. */
function joinRemark(one: Membership, join: Said): StoryRemark[] {
  const { host, came, sent } = one;
  const tell = teller(one);
  if (came.some(({ fromMs, toMs }) => fromMs < join.atMs && toMs >= join.atMs)) return []; // it flowed already
  const source = sent.find(({ toMs }) => toMs > join.atMs);
  if (source === undefined) return [];
  const dueMs = Math.max(join.atMs, source.fromMs);
  const first = came.find(({ fromMs }) => fromMs >= join.atMs);
  const leave = one.history.own.find(({ kind, atMs }) => kind === "leave" && atMs > join.atMs);
  const isLate = first === undefined || first.fromMs > (leave?.atMs ?? Number.POSITIVE_INFINITY);
  const waitedMs = first === undefined ? 0 : first.fromMs - dueMs;
  const base = source.fromMs > join.atMs ? "the stream began" : "its report";
  const since =
    waitedMs <= 0 ? `as ${source.fromMs > join.atMs ? base : "it reports"}` : `${sayMs(waitedMs)} after ${base}`;
  return isLate
    ? [tell("join-unanswered", dueMs, `${host} joined, and no data came although the stream was sent.`)]
    : [tell("join-answered", first.fromMs, `Data comes to ${host} ${since}.`)];
}

/** @param untilMs when this host joins again */
function leaveRemarks(one: Membership, leave: Said, untilMs: number): StoryRemark[] {
  const { host, bars, came, sent, history } = one;
  const tell = teller(one);
  const isFlowing = came.some(({ fromMs, toMs }) => fromMs <= leave.atMs && toMs >= leave.atMs - NEAR_MS);
  const query = answerTo(leave, history.groupQueries);
  const remarks: StoryRemark[] = [];
  if (query === null) {
    remarks.push(tell("leave-unanswered", leave.atMs, `No query about the group was heard upon the leave of ${host}.`));
  } else {
    const by = query.address;
    const bar = bars.find(({ kind, fromMs }) => kind === "last-member" && fromMs >= leave.atMs - NEAR_MS);
    const runs = bar === undefined ? "" : ` The ${bar.name} is ${bar.sum} = ${sayMs(bar.valueMs)}.`;
    remarks.push(
      tell("leave-answered", query.atMs, `${by} asks about the group ${after(query.atMs - leave.atMs)}.${runs}`),
    );
  }
  // What flowed before anybody here had joined flows for somebody else: on the way to a router, for example.
  const joinedMs = startOfStay(history, leave.atMs);
  const isAnothers = came.some(({ fromMs, toMs }) => fromMs < joinedMs - NEAR_MS && toMs >= leave.atMs);
  if (!isFlowing || isAnothers) return remarks;
  const last = came.findLast(({ fromMs, toMs }) => fromMs <= untilMs && toMs >= leave.atMs - NEAR_MS);
  const endMs = Math.min(last?.toMs ?? leave.atMs, untilMs);
  const stoppedMs = sent.findLast(({ fromMs }) => fromMs <= leave.atMs)?.toMs ?? Number.POSITIVE_INFINITY;
  const limitMs = endOfKeeping(bars, leave.atMs);
  if (endMs > limitMs + NEAR_MS) {
    const open = endMs >= Math.min(stoppedMs, untilMs, history.untilMs) - NEAR_MS ? "at least " : "";
    remarks.push(
      tell("outlived", endMs, `Data came to ${host} for ${open}${sayMs(endMs - leave.atMs)} after its leave.`),
    );
  }
  return remarks;
}

/** When the stay began that a leave ends; long ago where that was not heard. */
function startOfStay({ own }: MembershipHistory, leaveMs: number): number {
  const before = own.filter(({ atMs }) => atMs < leaveMs - REPEATED_WITHIN_MS / 2);
  const left = before.findLastIndex(({ kind }) => kind === "leave");
  return before[left + 1]?.atMs ?? Number.NEGATIVE_INFINITY;
}

/** Until when the group is kept by right after a leave: for as long as it takes to ask, or as somebody else at the port wants it. */
function endOfKeeping(bars: readonly StoryTimer[], leaveMs: number): number {
  const first = bars.findIndex(({ kind, fromMs }) => kind === "last-member" && fromMs >= leaveMs - NEAR_MS);
  if (first === -1) return leaveMs;
  return bars
    .slice(first)
    .reduce((endMs, { fromMs, toMs }) => (fromMs <= endMs + 1 || endMs === leaveMs ? toMs : endMs), leaveMs);
}

/** Memberships that ended because nobody renewed them. */
function ranOut(one: Membership): StoryRemark[] {
  const { host, bars, came, history } = one;
  return bars
    .filter(({ end, fromMs, toMs }) => end === "ran-out" && !hasLeft(history, fromMs, toMs))
    .map(({ kind, toMs, fromMs, valueMs, sum, name }) => {
      const end = came.findLast((band) => Math.abs(band.toMs - toMs) < NEAR_MS);
      const data = end === undefined ? "" : ` Data to it ended at ${(end.toMs / 1000).toFixed(2)} s.`;
      const since =
        kind === "membership"
          ? `${sayMs(toMs - fromMs)} after its last report`
          : `${sayMs(toMs - fromMs)} after a query about the group, which it did not answer`;
      const value = sum === sayMs(valueMs) ? sum : `${sum} = ${sayMs(valueMs)}`;
      return teller(one)("ran-out", toMs, `The membership of ${host} ran out ${since}: ${name} ${value}.${data}`);
    });
}

const hasLeft = ({ own }: MembershipHistory, fromMs: number, toMs: number): boolean =>
  own.some(({ kind, atMs }) => kind === "leave" && atMs >= fromMs - NEAR_MS && atMs <= toMs);

/**
 * Hosts that had not left and yet lost the stream as another one's leave took effect.
 * @param all memberships in one group
 */
export function neighboursCut(all: readonly Membership[]): StoryRemark[] {
  return all.flatMap((cut) =>
    cut.came.flatMap((band, index): StoryRemark[] => {
      const nextMs = cut.came[index + 1]?.fromMs ?? Number.POSITIVE_INFINITY;
      const wasSent = cut.sent.some(({ fromMs, toMs }) => fromMs <= band.toMs && toMs > band.toMs + NEAR_MS);
      if (!wasSent || nextMs - band.toMs < NEAR_MS || !isMember(cut, band.toMs)) return [];
      // The timer that a query about the group had cut short, at this host's port or at that of whoever left.
      const askedMs = all
        .flatMap(({ bars }) => bars)
        .filter(
          ({ kind, fromMs, valueMs }) => kind === "last-member" && Math.abs(fromMs + valueMs - band.toMs) < NEAR_MS,
        )
        .map(({ fromMs }) => fromMs);
      const by = all.find(
        (other) => other !== cut && askedMs.some((atMs) => hasLeft(other.history, atMs - NEAR_MS, atMs + NEAR_MS)),
      );
      if (by === undefined) return [];
      const sentence = `Data to ${cut.host} ended as the leave of ${by.host} took effect, although ${cut.host} had not left.`;
      return [teller(cut)("neighbour-cut", band.toMs, sentence)];
    }),
  );
}

const isMember = ({ history: { own } }: Membership, atMs: number): boolean => {
  const last = own.findLast((said) => said.atMs <= atMs);
  return last !== undefined && last.kind !== "leave";
};
