/** MPEG-TS alone stamps each packet with its own sending time (RFC 2250, section 2); the packets of a video frame share one. */
const MPEG_TS = 33;

export const rtpIsStampedWhenSent = (payloadType: number): boolean => payloadType === MPEG_TS;

/** Clock rates that the payload type alone fixes (RFC 3551, tables 4 and 5); null for the dynamic ones. */
export const rtpClockHz = (payloadType: number): number | null => STATIC_CLOCK_HZ.get(payloadType) ?? null;

const STATIC_CLOCK_HZ: ReadonlyMap<number, number> = new Map([
  ...[0, 3, 4, 5, 7, 8, 9, 12, 13, 15, 18].map((type) => [type, 8000] as const),
  [6, 16_000],
  [16, 11_025],
  [17, 22_050],
  [10, 44_100],
  [11, 44_100],
  [14, 90_000],
  ...[25, 26, 28, 31, 32, 33, 34].map((type) => [type, 90_000] as const),
]);
