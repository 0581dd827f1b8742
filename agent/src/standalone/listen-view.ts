import { formatCount, formatDurationNs } from "@dyetrace/wire";
import { describeFlow, nameFlow } from "./describe-flow.ts";
import { type FlowReport, joinFlowReports } from "./follow/flow-report.ts";
import type { FollowReport } from "./follow/follow-protocol.ts";
import { MinuteStrip, STRIP_LEGEND } from "./minute-strip.ts";

interface FlowView {
  total: FlowReport;
  readonly strip: MinuteStrip;
}

/** Where a view writes. */
export interface Terminal {
  readonly isLive: boolean;
  write(text: string): void;
}

const keyOf = (flow: FlowReport): string => `${flow.kind === "test" ? flow.name : ""} ${flow.source ?? ""}`;

/** What `listen` shows: on a terminal a picture that is drawn anew each second, elsewhere a line for each flow and second. */
export class ListenView {
  readonly #title: string;
  readonly #terminal: Terminal;
  readonly #flows = new Map<string, FlowView>();
  #hostDropped: number | null = 0;
  #toNs = 0;
  #drawnLines = 0;

  constructor(title: string, terminal: Terminal) {
    this.#title = title;
    this.#terminal = terminal;
  }

  /** Packets of all flows so far. */
  get packets(): number {
    return [...this.#flows.values()].reduce((sum, { total }) => sum + total.packets, 0);
  }

  take(report: FollowReport): void {
    this.#toNs = report.toNs;
    this.#hostDropped =
      this.#hostDropped === null || report.hostDropped === null ? null : this.#hostDropped + report.hostDropped;
    for (const flow of report.flows) {
      const known = this.#flows.get(keyOf(flow));
      if (known === undefined) this.#flows.set(keyOf(flow), { total: flow, strip: new MinuteStrip() });
      else known.total = joinFlowReports(known.total, flow);
      this.#flows.get(keyOf(flow))?.strip.add(flow);
    }
    if (this.#terminal.isLive) this.#draw(report);
    else this.#print(report);
  }

  /** What stands at the end. */
  summary(): { readonly seconds: number; readonly hostDropped: number | null; readonly flows: readonly FlowReport[] } {
    return {
      seconds: this.#toNs / 1e9,
      hostDropped: this.#hostDropped,
      flows: [...this.#flows.values()].map(({ total }) => total),
    };
  }

  describeSummary(): string[] {
    const span = formatDurationNs(this.#toNs);
    if (this.#flows.size === 0) return [`Nothing arrived in ${span}.`];
    return [
      `In ${span}:`,
      ...this.summary().flows.map((flow) => `  ${nameFlow(flow)}\n    ${describeFlow(flow, this.#toNs, true)}`),
    ];
  }

  #draw(report: FollowReport): void {
    const spanNs = report.toNs - report.fromNs;
    const lines = [`${this.#title}  joined ${formatDurationNs(report.toNs)} ago`];
    if (report.flows.length === 0) lines.push("  nothing has arrived yet");
    for (const flow of report.flows) {
      lines.push(`  ${nameFlow(flow)}`, `    ${describeFlow(flow, spanNs, false)}`);
      lines.push(`    ${this.#flows.get(keyOf(flow))?.strip.draw() ?? ""}`);
    }
    if (report.hostDropped !== null && report.hostDropped > 0) {
      lines.push(
        `  this host dropped ${formatCount(report.hostDropped)} packets in the last second: not the network's loss`,
      );
    }
    if (report.flows.length > 0) lines.push(`    ${STRIP_LEGEND}`);
    const back = this.#drawnLines === 0 ? "" : `\u001b[${this.#drawnLines}A\u001b[J`; // up, and clear to the end (ECMA-48)
    this.#terminal.write(`${back}${lines.join("\n")}\n`);
    this.#drawnLines = lines.length;
  }

  #print(report: FollowReport): void {
    const at = `${(report.toNs / 1e9).toFixed(0).padStart(4)} s`;
    const spanNs = report.toNs - report.fromNs;
    if (report.flows.length === 0) this.#terminal.write(`${at}  nothing has arrived yet\n`);
    for (const flow of report.flows)
      this.#terminal.write(`${at}  ${nameFlow(flow)}  ${describeFlow(flow, spanNs, false)}\n`);
  }
}
