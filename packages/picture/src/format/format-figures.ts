import { formatCount, formatDurationNs } from "@dyetrace/wire";

/** `12.5 ms`, `3 s`, `2 min`. @param ms may be a fraction */
export const formatMs = (ms: number): string => formatDurationNs(ms * 1e6);

/** A figure, or the word for what nobody knows. */
export const orUnknown = <T>(value: T | null, format: (value: T) => string): string =>
  value === null ? "unknown" : format(value);

/** `12 of 40`, in packets; where nobody knows either, the word once. */
export const sayShare = ({
  received,
  sent,
}: {
  readonly received: number | null;
  readonly sent: number | null;
}): string =>
  received === null && sent === null
    ? "unknown"
    : `${orUnknown(received, formatCount)} of ${orUnknown(sent, formatCount)}`;
