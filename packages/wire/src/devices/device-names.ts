import Type from "@dyetrace/schema";
import { words } from "../bounds.ts";

/** How the tables of one reading name a port; see `DevicePort`. DisplayString of RFC 2579: 255 characters at most. */
export const DevicePortName = words(255, 1);

export const Mac = Type.String({ pattern: "^[0-9a-f]{2}(:[0-9a-f]{2}){5}$" });

export const DeviceVlan = Type.Integer({ minimum: 1, maximum: 4094 });
