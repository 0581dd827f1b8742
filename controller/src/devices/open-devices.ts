import type { FastifyInstance } from "fastify";
import type { AuditLog } from "../audit/audit-log.ts";
import { DeviceBook } from "./device-book.ts";
import { DeviceDesk } from "./device-desk.ts";
import { registerDeviceRoutes } from "./device-routes.ts";
import { PracticeDeviceReader, type PracticeDevices } from "./practice-devices.ts";

/**
 * Whoever asks over HTTP has devices added, read and forgotten.
 * @param place the data folder whose book it is, null for one in memory, or a practice site's own
 */
export function openDevices(app: FastifyInstance, place: PracticeDevices | string | null, audit: AuditLog): DeviceDesk {
  const desk = deskFor(place, audit);
  registerDeviceRoutes(app, desk);
  return desk;
}

function deskFor(place: PracticeDevices | string | null, audit: AuditLog): DeviceDesk {
  if (place === null || typeof place === "string") return new DeviceDesk(new DeviceBook(place), audit, place);
  const book = new DeviceBook(null);
  for (const target of place.targets) book.put(target, "the practice site");
  return new DeviceDesk(book, audit, null, new PracticeDeviceReader(place));
}
