import { Fault } from "@dyetrace/wire";
import type { Inventory, InventorySummary } from "@dyetrace/wire/inventory/inventory-schema";
import type { Kysely } from "kysely";
import { packJson, unpackJson } from "./pack/pack-json.ts";
import type { StoreTables } from "./store-tables.ts";

/** Inventories that are kept: the oldest goes when one more comes. */
export const MOST_INVENTORIES = 200;

/** What agents saw on the wire, look by look. */
export class InventoryRecords {
  readonly #db: Kysely<StoreTables>;

  constructor(db: Kysely<StoreTables>) {
    this.#db = db;
  }

  async keep(inventory: Inventory): Promise<void> {
    const row = {
      id: inventory.id,
      taken_ms: Date.parse(inventory.takenAt),
      seen_ms: inventory.seenForMs,
      agents: inventory.agents.filter(({ lookedMs }) => lookedMs !== null).length,
      groups: inventory.groups.length,
      body: packJson(inventory),
    };
    await this.#db.insertInto("inventories").values(row).execute();
    const kept = this.#db.selectFrom("inventories").select("id").orderBy("taken_ms", "desc").limit(MOST_INVENTORIES);
    await this.#db.deleteFrom("inventories").where("id", "not in", kept).execute();
  }

  /** Newest first. */
  async list(): Promise<InventorySummary[]> {
    const rows = await this.#db
      .selectFrom("inventories")
      .select(["id", "taken_ms", "seen_ms", "agents", "groups"])
      .orderBy("taken_ms", "desc")
      .execute();
    return rows.map(({ id, taken_ms, seen_ms, agents, groups }) => ({
      id,
      takenAt: new Date(Number(taken_ms)).toISOString(),
      seenForMs: seen_ms,
      state: "done",
      agents,
      groups,
    }));
  }

  /** @throws {Fault} INVENTORY_UNKNOWN */
  async get(id: string): Promise<Inventory> {
    const row = await this.#db.selectFrom("inventories").select("body").where("id", "=", id).executeTakeFirst();
    if (row === undefined) throw unknown(id);
    return unpackJson(row.body) as Inventory;
  }

  /** @throws {Fault} INVENTORY_UNKNOWN */
  async remove(id: string): Promise<void> {
    const { numDeletedRows } = await this.#db.deleteFrom("inventories").where("id", "=", id).executeTakeFirst();
    if (numDeletedRows === 0n) throw unknown(id);
  }
}

const unknown = (id: string): Fault =>
  new Fault("INVENTORY_UNKNOWN", `No inventory ${id} is kept`, "`dyetrace inventory list` names them");
