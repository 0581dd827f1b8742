import Type, { type Static } from "@dyetrace/schema";
import { UserFileSchema } from "@dyetrace/wire";
import { DoneSchema } from "@dyetrace/wire/console/done";
import { DeviceEntrySchema, type DeviceTarget, DeviceTargetSchema } from "@dyetrace/wire/devices/device-access";
import { MOST_DEVICE_GROUPS } from "@dyetrace/wire/devices/device-limits";
import { DeviceGroupSchema, DeviceReadingSchema } from "@dyetrace/wire/devices/device-reading";
import { ReadingSummarySchema } from "@dyetrace/wire/devices/reading-summary";
import type { FastifyInstance, FastifyRequest } from "fastify";
import { NOBODY } from "../audit/audit-log.ts";
import type { Asker, DeviceDesk } from "./device-desk.ts";
import { readPastedTable } from "./pasted-table.ts";

/** Rows, or the CSV that they stand in as it was copied. */
const BodySchema = Type.Union([
  Type.Object({ groups: Type.Array(DeviceGroupSchema, { maxItems: MOST_DEVICE_GROUPS }) }),
  UserFileSchema,
]);
type PastedBody = Static<typeof BodySchema>;
interface ByNode {
  readonly Params: { readonly node: string };
}

/** Switches, routers and access points that the controller may read: never is anything written to them. */
export function registerDeviceRoutes(app: FastifyInstance, desk: DeviceDesk): void {
  app.get(
    "/api/devices",
    {
      schema: {
        summary: "Devices that this controller reads, without their secrets",
        response: { 200: Type.Array(DeviceEntrySchema) },
      },
    },
    () => desk.list(),
  );
  app.post<{ Body: DeviceTarget }>(
    "/api/devices",
    {
      schema: {
        summary: "Adds a device to read, or gives one another address or credential",
        body: DeviceTargetSchema,
        response: { 200: DeviceEntrySchema },
      },
    },
    (request) => desk.add(request.body, askerOf(request)),
  );
  app.delete<ByNode>(
    "/api/devices/:node",
    { schema: { summary: "Forgets a device and its credential", response: { 200: DoneSchema } } },
    ({ params }) => {
      desk.remove(params.node);
      return {};
    },
  );
  app.post<ByNode>(
    "/api/devices/:node/reading",
    {
      schema: {
        summary: "Reads a device now: ports and counters, neighbours, forwarding and group tables, queriers",
        response: { 200: DeviceReadingSchema },
      },
    },
    (request) => desk.read(request.params.node, "all", askerOf(request)),
  );
  app.get(
    "/api/devices/readings",
    {
      schema: {
        summary: "When each device was read last, or a table of it pasted, with what that found in a few figures",
        response: { 200: Type.Array(ReadingSummarySchema) },
      },
    },
    () => desk.summaries(),
  );
  app.get<ByNode>(
    "/api/devices/:node/reading",
    {
      schema: {
        summary: "What a device said when it was read last, since this controller began; null: it was not",
        response: { 200: Type.Union([DeviceReadingSchema, Type.Null()]) },
      },
    },
    ({ params }) => desk.lastOf(params.node),
  );
  app.put<ByNode & { Body: PastedBody }>(
    "/api/devices/:node/table",
    {
      schema: {
        summary: "Keeps a group table that was copied from a device by hand, as of now",
        body: BodySchema,
        response: { 200: DeviceReadingSchema },
      },
    },
    ({ params, body }) =>
      desk.paste(params.node, "groups" in body ? body.groups : readPastedTable(body.text, body.file)),
  );
}

const askerOf = ({ operator, ip }: FastifyRequest): Asker => ({ who: operator?.name ?? NOBODY, from: ip });
