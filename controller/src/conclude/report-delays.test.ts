import { expect, test } from "vitest";
import type { Stay } from "../account/stays.ts";
import { hasLeaveDelay } from "./report-delays.ts";

const left = (leaveDelay: object | null): Stay => ({ join: { toNs: 5e9 }, leaveDelay }) as unknown as Stay;
const ON = { kind: "still-flowing", atLeastNs: 6e9 };
const MEASURED = { kind: "measured", delayNs: 1e8, resolutionNs: 1e7 };

// RFC 4541, section 2.1.2: what is registered goes out of the ports to routers and queriers as well, whoever has left.
test.each([
  ["goes on by right, as on the way to the querier", [left(ON)], false, false],
  ["goes on and should not", [left(ON)], true, true],
  ["ended", [left(MEASURED)], false, true],
  ["went on once and ended once", [left(ON), left(MEASURED)], false, true],
  ["did something that nobody could see", [left(null)], false, true],
])(
  "hasLeaveDelay: given a stream that %s after a leave, then whether it tells of the leave",
  (_, stays, flowsWrongly, tells) => {
    expect(hasLeaveDelay(stays, flowsWrongly)).toBe(tells);
  },
);
