/** Interval reports as an agent makes them, from real trackers fed with made-up packets. */
import { StreamTracker } from "@dyetrace/measure";

const NO_FOREIGN = {
  foreignPackets: 0,
  malformedPackets: 0,
  otherRunPackets: 0,
  otherStreamPackets: 0,
  misdirectedPackets: 0,
  sources: [],
};
const QUIET_HOST = {
  udpRcvbufErrors: 0,
  udpInErrors: 0,
  udp6RcvbufErrors: 0,
  udp6InErrors: 0,
  interfaceRxDropped: 0,
  interfaceRxErrors: 0,
  interfaceTxDropped: 0,
  interfaceTxErrors: 0,
  softnetDropped: 0,
  linkChanges: 0,
  wallClockSteps: 0,
};

export class SimulatedListener {
  received = 0;
  lost = 0;
  #tracker = new StreamTracker({ mediaRateBps: 1e6, seesHostDrops: true });
  #streamId;
  #packetsPerSecond;
  #seq = 0;

  constructor(streamId, packetsPerSecond) {
    this.#streamId = streamId;
    this.#packetsPerSecond = packetsPerSecond;
  }

  /** @param isLost says of a number whether it goes missing */
  second(second, isLost) {
    const stepNs = 1e9 / this.#packetsPerSecond;
    for (let i = 0; i < this.#packetsPerSecond; i++) {
      const seq = this.#seq++;
      if (isLost(seq)) {
        this.lost++;
        continue;
      }
      const sentNs = second * 1e9 + i * stepNs;
      this.received++;
      // A little jitter, the same in every run of the bench.
      const arrivalNs = sentNs + 100_000 + ((seq * 7919) % 997) * 20;
      this.#tracker.record(seq, sentNs, arrivalNs, 1316, this.#streamId, 1, 0);
    }
    return this.#entry(this.#tracker.cut(), second);
  }

  finish(second) {
    return this.#entry(this.#tracker.finish(), second);
  }

  #entry(receipt, second) {
    return {
      streamId: this.#streamId,
      receipt,
      memberships: [
        {
          joinRequestedNs: -1e9,
          firstPacketNs: 100_000,
          lastPacketNs: second * 1e9,
          leaveRequestedNs: null,
        },
      ],
      hostLostPackets: 0,
      socketStreams: 1,
      foreign: NO_FOREIGN,
    };
  }
}

const query = (atNs) => ({
  atNs,
  direction: "in",
  message: {
    family: 4,
    sourceMac: "02:00:00:00:00:01",
    destinationMac: "01:00:5e:00:00:01",
    vlanId: null,
    source: "192.0.2.1",
    destination: "224.0.0.1",
    ttlHops: 1,
    hasRouterAlert: true,
    kind: "query",
    protocol: "igmp",
    version: 3,
    checksum: "good",
    group: null,
    sources: [],
    maxResponseMs: 10_000,
    suppressesRouters: false,
    robustness: 2,
    queryIntervalMs: 125_000,
    hasExtension: false,
  },
});

/** @param listeners entries of this second */
export function reportOf(second, listeners, totals = null) {
  const streams = listeners.map(({ streamId, receipt }) => ({
    streamId,
    frames: receipt.received,
    firstNs: second * 1e9,
    lastNs: (second + 1) * 1e9 - 1,
    ranges: receipt.spans.map(({ firstSeq, endSeq }) => [firstSeq, Math.max(firstSeq, endSeq - 1)]),
    unlistedFrames: 0,
    asUnicastFrames: 0,
    taggedFrames: 0,
    foreignFrames: 0,
  }));
  return {
    report: {
      fromNs: second * 1e9,
      toNs: (second + 1) * 1e9,
      listeners,
      senders: [],
      host: QUIET_HOST,
      sourcesStopped: null,
      totals,
    },
    watch: {
      sinceNs: -1e9,
      streams,
      membership: second % 125 === 0 ? [query(second * 1e9)] : [],
      unlistedMembership: 0,
      dropped: 0,
    },
  };
}
