import type { FastifyInstance } from "fastify";
import type { AuditLog } from "../audit/audit-log.ts";
import { DeviceBook } from "./device-book.ts";
import { DeviceDesk } from "./device-desk.ts";
import { registerDeviceRoutes } from "./device-routes.ts";

/**
 * Whoever asks over HTTP has devices added, read and forgotten.
 * @param place the data folder whose book it is, null for one in memory, or a book that is made already
 */
export function openDevices(app: FastifyInstance, place: DeviceBook | string | null, audit: AuditLog): DeviceDesk {
  const desk = new DeviceDesk(place instanceof DeviceBook ? place : new DeviceBook(place), audit);
  registerDeviceRoutes(app, desk);
  return desk;
}
