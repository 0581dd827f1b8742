import {
  type AgentTask,
  type IntervalReport,
  parseIpAddress,
  type TaskStream,
  type WatcherReport,
} from "@dyetrace/wire";
import { groupsOfHost } from "../sockets/linux/host-groups.ts";
import {
  explainHostBlock,
  type HostBlockBaseline,
  readHostBlockBaseline,
} from "../watcher/host-block/explain-host-block.ts";
import { forcedVersions } from "./forced-versions.ts";

/** Streams whose silence is looked into: reading a host's firewall takes time that the last report does not have. */
const MOST_EXPLAINED = 4;

/** As much of a reason as a report may hold. */
const MOST_WHY = 2000;

/** What a host can say of itself at the end of a run: groups that other programs use, and packets that it keeps from us. */
export class HostNotes {
  readonly #task: AgentTask;
  readonly #interfaceName: string;
  readonly #baseline: Promise<HostBlockBaseline>;
  readonly #before: Promise<ReadonlySet<string> | null>;
  readonly #frames = new Map<number, number>();

  /** Call before anything is joined. */
  constructor(task: AgentTask, interfaceName: string) {
    this.#task = task;
    this.#interfaceName = interfaceName;
    this.#baseline = readHostBlockBaseline();
    this.#before = groupsOfHost(interfaceName);
  }

  seen(watch: WatcherReport | null): void {
    for (const { streamId, frames } of watch?.streams ?? []) {
      this.#frames.set(streamId, (this.#frames.get(streamId) ?? 0) + frames);
    }
  }

  /** Adds what the host can say to a run's last report. */
  async complete(report: IntervalReport): Promise<IntervalReport> {
    const { totals } = report;
    if (totals === null) return report;
    const [before, after] = [await this.#before, await groupsOfHost(this.#interfaceName)];
    const hostBlocks = await this.#hostBlocks(totals);
    const forced = await forcedVersions(this.#interfaceName);
    const notes = { hostBlocks, ...(forced === null ? {} : { forcedVersions: forced }) };
    if (before === null || after === null) return { ...report, totals: { ...totals, ...notes } };
    const groupsInUse = this.#task.streams
      .filter(({ group }) => before.has(group) || after.has(group))
      .map(({ streamId }) => streamId);
    return { ...report, totals: { ...totals, ...notes, groupsInUse } };
  }

  async #hostBlocks(
    totals: NonNullable<IntervalReport["totals"]>,
  ): Promise<{ streamId: number; why: string | null }[]> {
    const silent = totals.listeners.filter(
      ({ streamId, receipt }) => receipt?.received === 0 && (this.#frames.get(streamId) ?? 0) > 0,
    );
    const baseline = await this.#baseline;
    const blocked = this.#task.streams.filter(({ streamId }) => silent.some((one) => one.streamId === streamId));
    const explained = blocked
      .slice(0, MOST_EXPLAINED)
      .map(async (stream) => ({ streamId: stream.streamId, why: await this.#explain(stream, baseline) }));
    return Promise.all(explained);
  }

  #explain({ group, port, ssmSource }: TaskStream, baseline: HostBlockBaseline): Promise<string | null> {
    const packet = {
      direction: "in",
      family: parseIpAddress(group)?.family ?? 4,
      protocol: "udp",
      source: ssmSource,
      destination: group,
      destinationPort: port,
      interfaceName: this.#interfaceName,
    } as const;
    return explainHostBlock(packet, baseline).then((why) => why?.slice(0, MOST_WHY) ?? null);
  }
}
