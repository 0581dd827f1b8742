import type { DrivenRun } from "../../receive/driven-run.ts";
import type { GroupSocket } from "../../sockets/group-socket.ts";
import type { SharedControl } from "../../workers/shared-control.ts";
import type { FollowReport } from "./follow-protocol.ts";
import type { TrafficFollower } from "./traffic-follower.ts";

const INTERVAL_NS = 1e9;

/** Listening to one group from the join to the leave, reported second by second. */
export class FollowRun implements DrivenRun {
  readonly #socket: GroupSocket;
  readonly #follower: TrafficFollower;
  readonly #control: SharedControl;
  readonly #startNs: number;
  readonly #endNs: number;
  readonly #onReport: (report: FollowReport, isLast: boolean) => void;
  #cutNs = 0;
  #drops: number | null;
  #isOver = false;

  /** @param startNs the join, on the monotonic clock */
  constructor(
    socket: GroupSocket,
    follower: TrafficFollower,
    control: SharedControl,
    startNs: number,
    durationNs: number | null,
    onReport: (report: FollowReport, isLast: boolean) => void,
  ) {
    this.#socket = socket;
    this.#follower = follower;
    this.#control = control;
    this.#startNs = startNs;
    this.#endNs = startNs + (durationNs ?? Number.POSITIVE_INFINITY);
    this.#onReport = onReport;
    this.#drops = socket.drops();
  }

  get isOver(): boolean {
    return this.#isOver;
  }

  step(drainedNs: number): number {
    if (this.#control.isAborted || drainedNs >= this.#endNs) {
      this.#socket.leave();
      this.#socket.drain();
      this.#report(Math.min(drainedNs, this.#endNs) - this.#startNs, true);
      this.#isOver = true;
      return drainedNs;
    }
    const nextNs = this.#startNs + this.#cutNs + INTERVAL_NS;
    if (drainedNs < nextNs) return Math.min(nextNs, this.#endNs);
    this.#report(this.#cutNs + INTERVAL_NS, false);
    return drainedNs;
  }

  #report(toNs: number, isLast: boolean): void {
    const drops = this.#socket.drops();
    const report = {
      fromNs: this.#cutNs,
      toNs: Math.max(toNs, this.#cutNs),
      flows: this.#follower.report(toNs, isLast),
      hostDropped: drops === null || this.#drops === null ? null : (drops - this.#drops) >>> 0,
      misdirectedPackets: this.#follower.misdirectedPackets,
      unfollowedPackets: this.#follower.unfollowedPackets,
    };
    this.#follower.misdirectedPackets = 0;
    this.#follower.unfollowedPackets = 0;
    this.#drops = drops;
    this.#cutNs = report.toNs;
    this.#onReport(report, isLast);
  }
}
