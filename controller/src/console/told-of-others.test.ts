import type { ListenerInterval } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { toldOfOthers } from "./told-of-others.ts";

/** One second of a followed stream of 90 datagrams with 7 packets of a transport stream each, without RTP. */
const second = (missingAtLeast: number): ListenerInterval =>
  ({
    streamId: 1,
    receipt: { received: 90, lost: 3, jitterNs: 1000, longestGap: null },
    followed: {
      sources: [],
      rtp: [],
      digest: { packets: 90, bytes: 0, names: [], ts: { datagrams: 90, packets: 630, missingAtLeast } },
    },
  }) as unknown as ListenerInterval;

// ISO/IEC 13818-1, 2.4.3.3: continuity_counter has 4 bits, so 16 packets of a PID that are lost in a row leave it as it was.
test("given a followed transport stream whose counters miss nothing, then its losses are not known, and not none", () => {
  expect(toldOfOthers([second(0)])).toBeNull();
});

test("given one whose counters miss packets, then as many datagrams are lost as those fill, and no jitter is told", () => {
  expect(toldOfOthers([second(10)])?.[0]?.receipt).toMatchObject({ received: 90, lost: 2, jitterNs: null });
});
