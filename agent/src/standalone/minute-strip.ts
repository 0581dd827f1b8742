import type { FlowReport } from "./follow/flow-report.ts";

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
  readonly #seconds: { readonly packets: number; readonly bytes: number; readonly lost: number | null }[] = [];

  add({ packets, bytes, lost }: Pick<FlowReport, "packets" | "bytes" | "lost">): void {
    this.#seconds.push({ packets, bytes, lost });
    if (this.#seconds.length > SECONDS) this.#seconds.shift();
  }

  draw(): string {
    const most = Math.max(1, ...this.#seconds.map((second) => second.bytes));
    return this.#seconds
      .map(({ packets, bytes, lost }) => {
        if (packets === 0) return SILENCE;
        return STEPS[lost === null ? Math.round((bytes / most) * (STEPS.length - 1)) : stepOf(lost / (lost + packets))];
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
