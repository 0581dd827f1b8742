import { answerUs, difsUs, meanBackoffUs, psduBytes } from "@dyetrace/wire/air/air-exchange";
import type { PhyMode } from "@dyetrace/wire/air/phy-mode";
import { ppduUs, type RadioBand } from "@dyetrace/wire/air/ppdu-time";
import { ipPacketSizes } from "./ip-packet-sizes.ts";

const MAC_HEADER_BYTES = 24;
const LLC_SNAP_BYTES = 8;
const FCS_BYTES = 4;
const QOS_BYTES = 2;
const CCMP_BYTES = 16;
/** Longest PPDU (aPPDUMaxTime, IEEE 802.11-2020 tables 19-25, 21-29; from memory) and longest A-MPDU of 802.11n. */
const LONGEST_PPDU_US = 5484;
const LONGEST_HT_AMPDU_BYTES = 65_535;

/** A stream on the air. */
export interface AirStream {
  /** UDP payload bits per second. */
  readonly rateBps: number;
  readonly payloadBytes: number;
  readonly family: 4 | 6;
  /** QoS header and CCMP encryption on every frame. */
  readonly isProtected: boolean;
  readonly band: RadioBand;
}

/** A station that gets its own copy: in which mode, and how many frames go in one A-MPDU where the mode has them. */
export interface AirStation {
  readonly mode: PhyMode;
  readonly aggregatedFrames: number;
}

/** Sizes of the MAC frames (FCS included) that carry one datagram of the stream. */
export function mpduSizes({
  payloadBytes,
  family,
  isProtected,
}: Pick<AirStream, "payloadBytes" | "family" | "isProtected">): number[] {
  const overheadBytes = MAC_HEADER_BYTES + LLC_SNAP_BYTES + FCS_BYTES + (isProtected ? QOS_BYTES + CCMP_BYTES : 0);
  return ipPacketSizes(payloadBytes, family).map((ipBytes) => overheadBytes + ipBytes);
}

/**
 * Share of the radio's time; above 1 the stream cannot fit. Left out, so that it is the least that the air can be taken:
 * beacons, retries, protection (RTS and CTS), other stations, frames that collide.
 */
export interface AirShare {
  /** Frames and answers alone. */
  readonly framesRatio: number;
  /** With the silence that must come before each frame. */
  readonly withDifsRatio: number;
  /** With the average backoff as well: what is gone for everyone else. */
  readonly withBackoffRatio: number;
}

/** The stream as multicast: each frame once and alone, at a basic rate, without acknowledgement (RFC 9119 section 3.1). */
export const multicastAirShare = (stream: AirStream, mode: PhyMode): AirShare => {
  const sizes = mpduSizes(stream);
  return shareOf(
    stream,
    sizes.length,
    sizes.map((bytes) => ppduUs(mode, psduBytes(mode, [bytes]), stream.band)),
    mode,
  );
};

/**
 * The stream converted to unicast (RFC 9119 section 4.6.2): each frame once for each station, in the station's own mode,
 * acknowledged, none retried.
 * @param stations those that have joined
 */
export function unicastAirShare(stream: AirStream, stations: readonly AirStation[]): AirShare {
  const shares = stations.map((station) => {
    const ppdus = aggregated(mpduSizes(stream), station, stream.band);
    const times = ppdus.map(
      (sizes) =>
        ppduUs(station.mode, psduBytes(station.mode, sizes), stream.band) +
        answerUs(station.mode, sizes.length, stream.band),
    );
    const frames = ppdus.reduce((sum, sizes) => sum + sizes.length, 0);
    return shareOf(stream, frames, times, station.mode);
  });
  return addShares(shares);
}

export const addShares = (shares: readonly AirShare[]): AirShare => ({
  framesRatio: shares.reduce((sum, share) => sum + share.framesRatio, 0),
  withDifsRatio: shares.reduce((sum, share) => sum + share.withDifsRatio, 0),
  withBackoffRatio: shares.reduce((sum, share) => sum + share.withBackoffRatio, 0),
});

/** Frames of as many datagrams as make whole PPDUs, PPDU by PPDU; no longer than the standard lets one be. */
function aggregated(sizes: readonly number[], { mode, aggregatedFrames }: AirStation, band: RadioBand): number[][] {
  const canAggregate = mode.format !== "dsss" && mode.format !== "ofdm";
  for (let wanted = canAggregate ? aggregatedFrames : 1; wanted > 1; wanted--) {
    const frames = Array.from({ length: wanted }, () => sizes).flat();
    const ppdus = Array.from({ length: sizes.length }, (_, at) => frames.slice(at * wanted, (at + 1) * wanted));
    const fits = ppdus.every((of) => {
      const bytes = psduBytes(mode, of);
      return ppduUs(mode, bytes, band) <= LONGEST_PPDU_US && (mode.format !== "ht" || bytes <= LONGEST_HT_AMPDU_BYTES);
    });
    if (fits) return ppdus;
  }
  return sizes.map((size) => [size]);
}

/** @param frames how many frames the PPDUs of these times carry */
function shareOf(stream: AirStream, frames: number, ppdus: readonly number[], mode: PhyMode): AirShare {
  const framesPerSecond = (stream.rateBps / (8 * stream.payloadBytes)) * mpduSizes(stream).length;
  const perSecond = framesPerSecond / frames;
  const framesRatio = (perSecond * ppdus.reduce((sum, us) => sum + us, 0)) / 1e6;
  const withDifsRatio = framesRatio + (perSecond * ppdus.length * difsUs(stream.band, mode)) / 1e6;
  return {
    framesRatio,
    withDifsRatio,
    withBackoffRatio: withDifsRatio + (perSecond * ppdus.length * meanBackoffUs(stream.band, mode)) / 1e6,
  };
}
