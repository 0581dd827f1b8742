import type { Inventory, InventoryChanges, InventorySummary } from "@dyetrace/wire/inventory/inventory-schema";
import { useCallback, useEffect, useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { link } from "../state/console-state.ts";

const ASK_EVERY_MS = 1000;

export interface Inventories {
  /** Newest first; null until the controller has answered. */
  readonly list: readonly InventorySummary[] | null;
  readonly isLooking: boolean;
  readonly refusal: Refusal | null;
  /** Has all agents look now. */
  readonly look: (forMs: number) => void;
}

/** What inventories there are, asked anew while the agents are looking. */
export function useInventories(): Inventories {
  const [list, setList] = useState<readonly InventorySummary[] | null>(null);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const isOn = link.value.kind === "on";
  const isLooking = list?.some(({ state }) => state === "looking") === true;
  const refuse = useCallback((error: unknown) => setRefusal(asRefusal(error)), []);
  const load = useCallback(
    () => askController<readonly InventorySummary[]>("/api/inventories").then(setList, refuse),
    [refuse],
  );
  useEffect(() => {
    if (isOn) void load();
  }, [isOn, load]);
  useEffect(() => {
    if (!isOn || !isLooking) return;
    const timer = setInterval(() => void load(), ASK_EVERY_MS);
    return () => clearInterval(timer);
  }, [isOn, isLooking, load]);
  const look = (forMs: number): void => {
    setRefusal(null);
    askController("/api/inventories", { method: "POST", body: { forMs } }).then(load, refuse);
  };
  return { list, isLooking, refusal, look };
}

/** @returns what an address answers, null until it has, or while there is no address */
function useAnswer<T>(path: string | null): T | null {
  const [answer, setAnswer] = useState<{ readonly path: string; readonly value: T } | null>(null);
  useEffect(() => {
    if (path === null) return;
    const ended = new AbortController();
    askController<T>(path, { signal: ended.signal }).then(
      (value) => setAnswer({ path, value }),
      () => {},
    );
    return () => ended.abort();
  }, [path]);
  return answer !== null && answer.path === path ? answer.value : null;
}

export const useInventory = (id: string | null): Inventory | null =>
  useAnswer<Inventory>(id === null ? null : `/api/inventories/${encodeURIComponent(id)}`);

export const useInventoryChanges = (id: string | null, since: string | null): InventoryChanges | null =>
  useAnswer<InventoryChanges>(
    id === null || since === null
      ? null
      : `/api/inventories/${encodeURIComponent(id)}/changes?since=${encodeURIComponent(since)}`,
  );
