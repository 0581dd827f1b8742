import type { Followed } from "./followed-schema.ts";
import type { IntervalReport, ListenerInterval } from "./interval-report-schema.ts";
import { type StreamReceiptMessage, StreamReceiptSchema } from "./receipt-schema.ts";

/**
 * How interval reports are written on the control link, in an agent's spool and in the store: what stands at rest is left
 * out, and a distribution is one text. A quiet second of one stream then takes a fifth of the bytes. Nothing is lost by it,
 * so reports merge exactly as before; `completeReport` has to follow before the schema is asked.
 */
const RECEIPT_AT_REST = {
  isFirst: false,
  isFinal: false,
  duplicates: 0,
  duplicatedPackets: 0,
  latePackets: 0,
  reordered: 0,
  reorderExtentSum: 0,
  reorderExtentMax: 0,
  reorderLateMaxNs: 0,
  lost: 0,
  hostDrops: 0,
  hostLost: 0,
  lossPeriods: 0,
  longestLossPeriod: 0,
  longestGap: null,
  longestSilence: null,
  firstArrivalNs: null,
  lastArrivalNs: null,
  spans: [],
  spansOmitted: 0,
  jitterNs: null,
  jitterMaxNs: null,
  pdvNs: { count: 0, sum: 0, min: null, max: null, bins: [] },
  delayFactorMaxNs: null,
  mediaLossMaxPps: 0,
  ttlMin: null,
  ttlMax: null,
  dscpSeen: [],
  senderRestarts: 0,
  otherSenderPackets: 0,
} satisfies Partial<StreamReceiptMessage>;

const SPAN_AT_REST = { lost: [], coarse: [] };

const LISTENER_AT_REST = {
  hostLostPackets: 0,
  socketStreams: 1,
  foreign: {
    foreignPackets: 0,
    malformedPackets: 0,
    otherRunPackets: 0,
    otherStreamPackets: 0,
    misdirectedPackets: 0,
    sources: [],
  },
} satisfies Partial<ListenerInterval>;

const HOST_AT_REST = {
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
} satisfies IntervalReport["host"];

/** @returns the same report for `JSON.stringify`, shorter */
export const shortenReport = (report: IntervalReport): unknown => ({
  ...report,
  listeners: report.listeners.map(shortenListener),
  host: withoutRest(report.host, HOST_AT_REST),
  totals: report.totals === null ? null : { ...report.totals, listeners: report.totals.listeners.map(shortenListener) },
});

const shortenListener = (listener: ListenerInterval): Fields => ({
  ...withoutRest(listener, LISTENER_AT_REST),
  receipt: listener.receipt === null ? null : shortenReceipt(listener.receipt),
  ...(listener.followed === undefined ? {} : { followed: shortenFollowed(listener.followed) }),
});

const shortenFollowed = (followed: Followed): Fields => ({
  ...followed,
  rtp: followed.rtp.map((flow) => ({ ...flow, receipt: shortenReceipt(flow.receipt) })),
});

/** @returns one receipt as `shortenReport` writes it */
export function shortenReceipt(receipt: NonNullable<ListenerInterval["receipt"]>): Fields {
  const short = withoutRest(receipt, RECEIPT_AT_REST);
  if (short["spans"] !== undefined) short["spans"] = receipt.spans.map((span) => withoutRest(span, SPAN_AT_REST));
  if (short["pdvNs"] !== undefined) {
    const { sum, min, max, bins } = receipt.pdvNs;
    short["pdvNs"] = { sum, min, max, bins: binsText(bins) };
  }
  return short;
}

/**
 * Undoes `shortenReport`; what an earlier build wrote in full (control protocol 2 and 3) is brought into today's form.
 * @param report JSON that nobody has looked at yet: what does not fit is left for the schema to find
 */
export function completeReport(report: unknown): unknown {
  if (!isFields(report)) return report;
  const { listeners, host, totals } = report;
  return {
    ...report,
    listeners: completeListeners(listeners),
    host: isFields(host) ? { ...HOST_AT_REST, ...host } : host,
    totals: isFields(totals) ? { ...totals, listeners: completeListeners(totals["listeners"]) } : totals,
  };
}

const completeListeners = (listeners: unknown): unknown =>
  Array.isArray(listeners)
    ? listeners.map((one: unknown) =>
        isFields(one)
          ? {
              ...LISTENER_AT_REST,
              ...one,
              receipt: completeReceipt(one["receipt"]),
              ...("followed" in one ? { followed: completeFollowed(one["followed"]) } : {}),
            }
          : one,
      )
    : listeners;

const completeFollowed = (followed: unknown): unknown =>
  isFields(followed) && Array.isArray(followed["rtp"])
    ? {
        ...followed,
        rtp: followed["rtp"].map((flow: unknown) =>
          isFields(flow) ? { ...flow, receipt: completeReceipt(flow["receipt"]) } : flow,
        ),
      }
    : followed;

const RECEIPT_FIELDS = Object.keys(StreamReceiptSchema.properties);
const AT_REST: Fields = RECEIPT_AT_REST;

/** Fields of an earlier build that are no more stay behind. */
function completeReceipt(value: unknown): unknown {
  if (!isFields(value)) return value;
  // Field by field, without copies in between: a controller does this for each stream of each agent each second.
  const receipt: Fields = {};
  for (const name of RECEIPT_FIELDS) receipt[name] = name in value ? value[name] : AT_REST[name];
  const { delayFactor } = value;
  // Before protocol 4 the delay factor stood with its latest value and its sum.
  if (isFields(delayFactor) && !("delayFactorMaxNs" in value)) receipt["delayFactorMaxNs"] = delayFactor["maxNs"];
  receipt["pdvNs"] = completeHistogram(receipt["pdvNs"]);
  receipt["spans"] = completeSpans(receipt["spans"]);
  return receipt;
}

const completeSpans = (spans: unknown): unknown =>
  Array.isArray(spans)
    ? spans.map((span: unknown) => {
        if (!isFields(span)) return span;
        const { senderId, firstSeq, endSeq, lost, coarse } = { ...SPAN_AT_REST, ...span } as Fields;
        return { senderId, firstSeq, endSeq, lost, coarse };
      })
    : spans;

function completeHistogram(value: unknown): unknown {
  if (!isFields(value) || typeof value["bins"] !== "string") return value;
  const { sum, min, max } = value;
  const bins = binsOf(value["bins"]);
  return { count: bins.reduce((all, [, count]) => all + count, 0), sum, min, max, bins };
}

type Bins = readonly (readonly [bucket: number, count: number])[];

/** Of each bucket its distance from the one before, and its count where that is not 1: `480x12,1x3,2`. */
function binsText(bins: Bins): string {
  let before = 0;
  return bins
    .map(([bucket, count]) => {
      const step = bucket - before;
      before = bucket;
      return count === 1 ? `${step}` : `${step}x${count}`;
    })
    .join(",");
}

function binsOf(text: string): [number, number][] {
  let bucket = 0;
  return text.split(",").map((one) => {
    const [step, count = "1"] = one.split("x");
    bucket += Number(step);
    return [bucket, Number(count)];
  });
}

type Fields = Record<string, unknown>;

const isFields = (value: unknown): value is Fields =>
  typeof value === "object" && value !== null && !Array.isArray(value);

/** @returns a copy without the fields that are as in `rest` */
function withoutRest(value: object, rest: Fields): Fields {
  const short: Fields = {};
  for (const [name, one] of Object.entries(value)) if (!(name in rest && isSame(one, rest[name]))) short[name] = one;
  return short;
}

/** Of JSON. */
function isSame(a: unknown, b: unknown): boolean {
  if (a === b) return true;
  if (Array.isArray(a) && Array.isArray(b)) {
    return a.length === b.length && a.every((one, index) => isSame(one, b[index]));
  }
  if (!isFields(a) || !isFields(b)) return false;
  const names = Object.keys(a);
  return names.length === Object.keys(b).length && names.every((name) => name in b && isSame(a[name], b[name]));
}
