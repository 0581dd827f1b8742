import type { AgentTask, ForeignCount, ListenerInterval, TaskAction, TaskStream } from "@dyetrace/wire";
import { addForeign, NO_FOREIGN } from "../sockets/foreign-record.ts";
import type { GroupSocket, GroupWatch } from "../sockets/group-socket.ts";
import type { ListenedStream } from "../sockets/listened-stream.ts";
import type { SharedControl } from "../workers/shared-control.ts";
import type { IntervalPart } from "../workers/worker-protocol.ts";

/** How often a host's own membership is looked at where a stream is only watched. */
const LOOK_NS = 100e6;

export interface ListenerRunOptions {
  readonly task: AgentTask;
  readonly sockets: readonly GroupSocket[];
  readonly control: SharedControl;
  /** The monotonic clock, ns. */
  readonly clock: () => number;
  /** Steps of the wall clock since the last call; null if it is not watched. */
  readonly takeClockSteps: () => number | null;
  readonly onInterval: (part: IntervalPart) => void;
  readonly onJoinRefused: (stream: TaskStream, cause: unknown) => void;
}

interface WatchedSocket {
  readonly watch: GroupWatch;
  readonly stream: ListenedStream;
}

/** What one socket has told over the whole run. */
interface SocketTotal {
  drops: number | null;
  /** Reading of the socket's counter at the last report. */
  lastDrops: number;
  foreign: ForeignCount;
}

/**
 * The joins, leaves and reports of one run. `step` does what is due and says when to come back; who waits for packets
 * in between is the caller's affair.
 */
export class ListenerRun {
  readonly #options: ListenerRunOptions;
  readonly #startNs: number;
  readonly #actions: readonly TaskAction[];
  readonly #totals: SocketTotal[];
  #nextAction = 0;
  #index = 0;
  #cutNs = 0;
  #isOver = false;
  readonly #watched: readonly WatchedSocket[];
  #lookNs: number;
  #lastLookNs: number;

  /** @param startNs the run's start on the monotonic clock */
  constructor(options: ListenerRunOptions, startNs: number) {
    this.#options = options;
    this.#startNs = startNs;
    this.#watched = options.sockets.flatMap(({ watch, streams }) =>
      watch === undefined ? [] : streams.map((stream) => ({ watch, stream })),
    );
    this.#lookNs = this.#watched.length === 0 ? Number.POSITIVE_INFINITY : startNs;
    this.#lastLookNs = startNs;
    this.#actions = options.task.actions.filter(({ kind }) => kind === "join" || kind === "leave");
    this.#totals = options.sockets.map((socket) => {
      const drops = socket.drops();
      return { drops: drops === null ? null : 0, lastDrops: drops ?? 0, foreign: NO_FOREIGN };
    });
  }

  get isOver(): boolean {
    return this.#isOver;
  }

  /**
   * @param drainedNs all that had arrived by then has been taken in; intervals that ended by then are reported
   * @returns when to come back at the latest, on the monotonic clock
   */
  step(drainedNs: number): number {
    const endNs = this.#startNs + this.#options.task.endNs;
    while (this.#nextCutNs() <= drainedNs - this.#startNs && this.#nextCutNs() < this.#options.task.endNs) {
      this.#report(this.#nextCutNs(), false);
    }
    if (drainedNs >= endNs || this.#options.control.isAborted) {
      this.#finish(Math.min(drainedNs, endNs) - this.#startNs);
      return drainedNs;
    }
    if (this.#options.clock() >= this.#lookNs) this.#look();
    for (;;) {
      const action = this.#actions[this.#nextAction];
      if (action === undefined || this.#startNs + action.atNs > this.#options.clock()) break;
      this.#nextAction++;
      this.#take(action);
    }
    const actionNs = this.#actions[this.#nextAction]?.atNs ?? Number.POSITIVE_INFINITY;
    return Math.min(this.#startNs + actionNs, this.#startNs + this.#nextCutNs(), this.#lookNs, endNs);
  }

  /** A host's membership ends at the last look that found it: what was missing since then was not asked for any more. */
  #look(): void {
    const nowNs = this.#options.clock();
    for (const { watch, stream } of this.#watched) {
      const isMember = watch.isMember();
      if (stream.isHostMember === isMember) continue;
      if (stream.isJoined) stream.left((isMember ? nowNs : this.#lastLookNs) - this.#startNs);
      stream.joined(nowNs - this.#startNs, isMember);
    }
    this.#lastLookNs = nowNs;
    this.#lookNs = nowNs + LOOK_NS;
  }

  #take(action: TaskAction): void {
    for (const socket of this.#options.sockets) {
      const stream = socket.streams.find((one) => one.stream.streamId === action.streamId);
      if (stream === undefined) continue;
      if (action.kind === "join") this.#join(socket, stream);
      else this.#leave(socket, stream);
    }
  }

  #join(socket: GroupSocket, stream: ListenedStream): void {
    if (stream.isJoined) return;
    const requestedNs = this.#options.clock();
    const isShared = socket.streams.some((other) => other.isJoined);
    try {
      if (!isShared) socket.join();
    } catch (cause) {
      this.#options.onJoinRefused(stream.stream, cause);
      return;
    }
    stream.joined(requestedNs - this.#startNs);
  }

  #leave(socket: GroupSocket, stream: ListenedStream): void {
    if (!stream.isJoined) return;
    const requestedNs = this.#options.clock() - this.#startNs;
    const isShared = socket.streams.some((other) => other !== stream && other.isJoined);
    try {
      if (!isShared) socket.leave();
    } catch (cause) {
      this.#options.onJoinRefused(stream.stream, cause);
    }
    socket.drain();
    stream.left(requestedNs);
  }

  #finish(nowNs: number): void {
    const endNs = Math.max(nowNs, this.#cutNs);
    for (const socket of this.#options.sockets) for (const stream of socket.streams) this.#leave(socket, stream);
    this.#report(endNs, true);
    this.#isOver = true;
  }

  #nextCutNs(): number {
    return (this.#index + 1) * this.#options.task.intervalNs;
  }

  #report(toNs: number, isLast: boolean): void {
    const index = this.#index++;
    const fromNs = this.#cutNs;
    this.#cutNs = toNs;
    const listeners: ListenerInterval[] = [];
    const totals: ListenerInterval[] = [];
    for (const [i, socket] of this.#options.sockets.entries()) {
      const total = this.#totals[i];
      if (total === undefined) continue;
      const drops = this.#newDrops(socket, total);
      const foreign = socket.foreign.report();
      socket.foreign.clear();
      total.foreign = addForeign(total.foreign, foreign);
      const socketStreams = socket.streams.length;
      for (const stream of socket.streams) {
        const streamId = stream.stream.streamId;
        const shared = { streamId, hostLostPackets: drops, socketStreams, foreign };
        const parts = stream.takeParts(index, toNs, isLast);
        let unreadFrames = socket.watch?.takeUnreadFrames() ?? 0;
        if (parts.length === 0) listeners.push({ ...shared, receipt: null, memberships: [] });
        for (const { receipt, membership, followed, isHostMember } of parts) {
          listeners.push({
            ...shared,
            receipt,
            memberships: [membership],
            ...(followed === null ? {} : { followed }),
            ...(isHostMember === null ? {} : { watched: { isMember: isHostMember, unreadFrames } }),
          });
          unreadFrames = 0;
        }
        if (!isLast) continue;
        totals.push({
          streamId,
          receipt: stream.total,
          memberships: [...stream.allMemberships],
          hostLostPackets: total.drops,
          socketStreams,
          foreign: total.foreign,
        });
      }
    }
    this.#options.onInterval({
      index,
      fromNs,
      toNs,
      listeners,
      senders: [],
      wallClockSteps: this.#options.takeClockSteps(),
      sourcesStopped: null,
      totals: isLast ? { listeners: totals, senders: [] } : null,
    });
  }

  #newDrops(socket: GroupSocket, total: SocketTotal): number | null {
    const reading = socket.drops();
    if (reading === null || total.drops === null) return null;
    const drops = (reading - total.lastDrops) >>> 0; // the kernel's counter has 32 bits
    total.lastDrops = reading;
    total.drops += drops;
    return drops;
  }
}
