import { packetTimeMs, type ReportReceipt, type RunReport } from "@dyetrace/wire";
import { isInterrupted, type LossClass, lossClassOf } from "./loss-shape.ts";

/** What reached one agent of one stream, in the words of the map. */
export type HostWater =
  | { readonly kind: "source" }
  /** The source itself says that it sent nothing. */
  | { readonly kind: "silent-source" }
  /** Joined, everything came. */
  | { readonly kind: "whole" }
  | Thins
  /** Joined, packets came; whether any are missing is unknown, of all or of a part. */
  | { readonly kind: "some" }
  /** Joined while the source sent, and nothing came. */
  | { readonly kind: "dry" }
  /** Joined; it comes to the network card, and the host keeps it from the program. */
  | { readonly kind: "blocked" }
  /** Joined, and nothing is due now. */
  | { readonly kind: "waiting" }
  /** It should have told, and did not. */
  | { readonly kind: "not-reported" }
  /** It can't see, or nobody can tell. */
  | { readonly kind: "unknown" }
  /** Not joined, saw nothing: as it should be. */
  | { readonly kind: "apart" }
  /** Not joined, and frames came; `isByDesign` where the site's build copies them there. */
  | { readonly kind: "uninvited"; readonly isByDesign: boolean };

/** Joined, and some of it is missing. */
export interface Thins {
  readonly kind: "thins";
  /** Null where only its class was told. */
  readonly lossRatio: number | null;
  readonly lossClass: LossClass;
  /** All came but for outages. */
  readonly isInterrupted: boolean;
  /** The network delivered everything: the host itself dropped what is missing. */
  readonly isHostsOwn: boolean;
}

/**
 * From a finished run.
 * @param host the node that carries the agent @returns null for an agent that has nothing to do with the stream
 */
export function waterInReport(
  report: RunReport,
  stream: string,
  agent: string,
  host: string,
  isReachedByDesign: boolean,
): HostWater | null {
  const about = report.streams.find(({ name }) => name === stream);
  if (about?.source === agent) return { kind: about.sent === 0 ? "silent-source" : "source" };
  const receipt = report.receipts.find((one) => one.stream === stream && one.listener === agent);
  if (receipt !== undefined) {
    const packetMs = about === undefined ? 0 : packetTimeMs(about);
    return waterOfReceipt(receipt, packetMs, () => isBlockedByHost(report, stream, host));
  }
  const bystander = report.bystanders.find((one) => one.stream === stream && one.agent === agent);
  if (bystander === undefined) return null;
  if (bystander.frames === null) return { kind: "unknown" };
  return bystander.frames === 0 ? { kind: "apart" } : { kind: "uninvited", isByDesign: isReachedByDesign };
}

function waterOfReceipt(receipt: ReportReceipt, packetMs: number, isBlocked: () => boolean): HostWater {
  const { received, lossRatio, lost, hostLost } = receipt;
  if (received === null) return { kind: "unknown" };
  // Of a part that nobody told of it may have got anything.
  const isPartial = receipt.unknown !== undefined;
  if (received === 0) return { kind: isBlocked() ? "blocked" : isPartial ? "unknown" : "dry" };
  if (lossRatio === null || (isPartial && lossRatio === 0)) return { kind: "some" };
  if (lossRatio === 0) return { kind: "whole" };
  return {
    kind: "thins",
    lossRatio,
    lossClass: lossClassOf(lossRatio),
    isInterrupted: isInterrupted(receipt, packetMs),
    isHostsOwn: hostLost !== null && lost !== null && hostLost >= lost,
  };
}

/** The report's own conclusion, from the frames that came to the network card. */
const isBlockedByHost = ({ findings }: RunReport, stream: string, host: string): boolean =>
  findings.some(
    ({ kind, streams, suspects }) => kind === "host-side-block" && streams.includes(stream) && suspects.includes(host),
  );
