import type { FlowReport } from "./follow/flow-report.ts";

const TS_PACKET_BYTES = 188; // ISO/IEC 13818-1, 2.4.3.2
/** Seconds shown. */
const SECONDS = 60;
/** From "nearly nothing arrived" to "everything arrived". */
const STEPS = ["▁", "▃", "▅", "▆", "█"] as const;
const SILENCE = "·";

export const STRIP_LEGEND =
  "█ all arrived  ▆ <0.1 % lost  ▅ <1 %  ▃ <10 %  ▁ more  · silence; without numbers: height is rate";

/**
 * The last minute of a flow, a character a second: █ when nothing was lost, lower the more was lost, · when nothing came.
 * Where loss cannot be known, the height is the rate against the minute's highest.
 */
export class MinuteStrip {
  readonly #seconds: { readonly units: number; readonly bytes: number; readonly lost: number | null }[] = [];

  add({ kind, packets, bytes, lost }: Pick<FlowReport, "kind" | "packets" | "bytes" | "lost">): void {
    // A transport stream's losses are counted in its own packets, several to a datagram.
    this.#seconds.push({ units: kind === "ts" ? bytes / TS_PACKET_BYTES : packets, bytes, lost });
    if (this.#seconds.length > SECONDS) this.#seconds.shift();
  }

  draw(): string {
    const most = Math.max(1, ...this.#seconds.map((second) => second.bytes));
    return this.#seconds
      .map(({ units, bytes, lost }) => {
        if (units === 0) return SILENCE;
        return STEPS[lost === null ? Math.round((bytes / most) * (STEPS.length - 1)) : stepOf(lost / (lost + units))];
      })
      .join("");
  }
}

function stepOf(lossRatio: number): number {
  if (lossRatio === 0) return 4;
  if (lossRatio < 0.001) return 3;
  if (lossRatio < 0.01) return 2;
  return lossRatio < 0.1 ? 1 : 0;
}
