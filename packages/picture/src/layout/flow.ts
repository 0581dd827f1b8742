import type { Polyline } from "./delta-place.ts";

/** Water that moves at present, and how wide its channel is drawn. */
export interface Flow {
  readonly line: Polyline;
  readonly width: number;
}
