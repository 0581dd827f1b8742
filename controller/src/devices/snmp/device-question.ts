import type { DeviceTarget } from "@dyetrace/wire/devices/device-access";
import type { ReadingKind } from "../tables/objects.ts";
import type { ReadingBounds } from "./reading-bounds.ts";

/** What the thread of one reading is given. */
export interface DeviceQuestion {
  readonly target: DeviceTarget;
  readonly kind: ReadingKind;
  readonly bounds: ReadingBounds;
}
