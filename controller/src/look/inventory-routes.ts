import Type, { type Static } from "@dyetrace/schema";
import { DoneSchema } from "@dyetrace/wire/console/done";
import {
  InventoryChangesSchema,
  type InventoryRequest,
  InventoryRequestSchema,
  InventorySchema,
  InventorySummarySchema,
} from "@dyetrace/wire/inventory/inventory-schema";
import type { FastifyInstance } from "fastify";
import { compareInventories } from "../inventory/compare-inventories.ts";
import type { Store } from "../store/store.ts";
import { stored } from "../store/stored.ts";
import type { LookDesk } from "./look-desk.ts";

const SinceSchema = Type.Object({ since: Type.String({ maxLength: 64, description: "Id of the earlier inventory" }) });

/** Inventories of what is on the wire: taking one, reading it, and what is new since another one. */
export function registerInventoryRoutes(app: FastifyInstance, desk: LookDesk, store: Store): void {
  app.post<{ Body: InventoryRequest }>(
    "/api/inventories",
    {
      schema: {
        summary: "Has all agents look at what is on the wire; nothing is joined or sent",
        body: InventoryRequestSchema,
        response: { 200: InventorySummarySchema },
      },
    },
    ({ body }) => desk.begin(body.forMs),
  );
  app.get(
    "/api/inventories",
    { schema: { summary: "Inventories, newest first", response: { 200: Type.Array(InventorySummarySchema) } } },
    () =>
      stored(store, async () => {
        const kept = await store.inventories.list();
        const { latest } = desk;
        return latest === null ? kept : [latest, ...kept];
      }),
  );
  app.get<{ Params: { id: string } }>(
    "/api/inventories/:id",
    { schema: { summary: "An inventory", response: { 200: InventorySchema } } },
    ({ params }) => stored(store, () => store.inventories.get(params.id)),
  );
  app.get<{ Params: { id: string }; Querystring: Static<typeof SinceSchema> }>(
    "/api/inventories/:id/changes",
    {
      schema: {
        summary: "What an inventory has that an earlier one had not",
        querystring: SinceSchema,
        response: { 200: InventoryChangesSchema },
      },
    },
    ({ params, query }) =>
      stored(store, async () =>
        compareInventories(await store.inventories.get(params.id), await store.inventories.get(query.since)),
      ),
  );
  app.delete<{ Params: { id: string } }>(
    "/api/inventories/:id",
    { schema: { summary: "Deletes an inventory", response: { 200: DoneSchema } } },
    ({ params }) =>
      stored(store, async () => {
        await store.inventories.remove(params.id);
        return {};
      }),
  );
}
