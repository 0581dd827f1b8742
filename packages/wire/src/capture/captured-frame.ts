/** A frame of a capture file. */
export interface CapturedFrame {
  /** As capture files number them (LINKTYPE_): 105 is IEEE 802.11, 127 the same behind a radiotap header. */
  readonly linkType: number;
  /** Since 1970, us, exact to a quarter of one; null where the file has no time for it. */
  readonly timeUs: number | null;
  /** What was kept of it: only valid until the next frame is asked for. */
  readonly bytes: Uint8Array;
  /** How long it was on the air. */
  readonly originalBytes: number;
}

/** Where and why the reading of a file ended early. */
export interface CaptureProblem {
  /** Position in the file, bytes from its beginning. */
  readonly offset: number;
  readonly sentence: string;
}

/** What reading at one place of the file came to. */
export type CaptureStep =
  /** That many bytes belonged to it; `frame` is null for what is no frame. */
  | { readonly kind: "took"; readonly lengthBytes: number; readonly frame: CapturedFrame | null }
  | { readonly kind: "more" }
  | { readonly kind: "broken"; readonly sentence: string };

/** Longest frame that is believed: a file that says more is damaged. */
export const LONGEST_FRAME_BYTES = 262_144;
