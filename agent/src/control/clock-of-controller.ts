import type { ClockEstimate } from "@dyetrace/wire";
import type { ControllerLink } from "./controller-link.ts";

/** How long a new connection may take to know the controller's clock. */
const CLOCK_WITHIN_MS = 5000;

/** The first exchanges follow right after the connection. */
export async function clockOf(link: Pick<ControllerLink, "clock">): Promise<ClockEstimate | null> {
  for (let waitedMs = 0; waitedMs < CLOCK_WITHIN_MS; waitedMs += 50) {
    const clock = link.clock();
    if (clock !== null) return clock;
    await new Promise((resolve) => setTimeout(resolve, 50));
  }
  return null;
}
