import { setTimeout as sleep } from "node:timers/promises";
import { Fault } from "@dyetrace/wire";

/** A card that comes late comes within seconds to minutes of the start: USB, Wi-Fi, a VLAN, an address of DHCP. */
const FIRST_WAIT_MS = 1000;
const LONGEST_WAIT_MS = 10_000;

/**
 * Tries until the interface is there. Anything else that is wrong is thrown at once: that does not mend itself.
 * @param look throws INTERFACE_UNKNOWN as long as it is not there
 * @param tell is called once, with what is missing
 * @throws what `look` throws, and the signal's reason
 */
export async function waitForInterface<T>(
  look: () => T | Promise<T>,
  tell: (fault: Fault) => void,
  signal: AbortSignal,
  firstWaitMs: number = FIRST_WAIT_MS,
): Promise<T> {
  for (let waitMs = firstWaitMs, isTold = false; ; waitMs = Math.min(waitMs * 2, LONGEST_WAIT_MS)) {
    try {
      return await look();
    } catch (error) {
      if (!(error instanceof Fault) || error.code !== "INTERFACE_UNKNOWN") throw error;
      if (!isTold) tell(error);
      isTold = true;
    }
    await sleep(waitMs, undefined, { signal });
  }
}
