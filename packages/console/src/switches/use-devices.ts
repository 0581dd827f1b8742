import type { DeviceEntry } from "@dyetrace/wire/devices/device-access";
import type { DeviceReading } from "@dyetrace/wire/devices/device-reading";
import type { ReadingSummary } from "@dyetrace/wire/devices/reading-summary";
import { useCallback, useEffect, useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { link } from "../state/console-state.ts";

export interface Devices {
  /** Null until the controller has answered. */
  readonly list: readonly DeviceEntry[] | null;
  /** Last readings, and tables that were pasted. */
  readonly summaries: readonly ReadingSummary[];
  readonly refusal: Refusal | null;
  readonly load: () => void;
  /** Reads devices one after the other. */
  readonly read: (nodes: readonly string[]) => void;
  /** How far that is; null: nothing is being read. */
  readonly reading: { readonly node: string; readonly done: number; readonly of: number } | null;
}

const pathOf = (node: string): string => `/api/devices/${encodeURIComponent(node)}/reading`;

/** What devices the controller may read, and what it read last. */
export function useDevices(): Devices {
  const [list, setList] = useState<readonly DeviceEntry[] | null>(null);
  const [summaries, setSummaries] = useState<readonly ReadingSummary[]>([]);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const [reading, setReading] = useState<Devices["reading"]>(null);
  const isOn = link.value.kind === "on";
  const load = useCallback((): void => {
    const refuse = (error: unknown): void => setRefusal(asRefusal(error));
    askController<readonly DeviceEntry[]>("/api/devices").then((all) => {
      setList(all);
      setRefusal(null);
    }, refuse);
    askController<readonly ReadingSummary[]>("/api/devices/readings").then(setSummaries, refuse);
  }, []);
  useEffect(() => {
    if (isOn) load();
  }, [isOn, load]);
  const read = async (nodes: readonly string[]): Promise<void> => {
    setRefusal(null);
    try {
      for (const [done, node] of nodes.entries()) {
        setReading({ node, done, of: nodes.length });
        await askController<DeviceReading>(pathOf(node), { method: "POST", body: {} });
        setSummaries(await askController<readonly ReadingSummary[]>("/api/devices/readings"));
      }
    } catch (error) {
      setRefusal(asRefusal(error));
    } finally {
      setReading(null);
    }
  };
  return { list, summaries, refusal, load, read: (nodes) => void read(nodes), reading };
}

/** The last whole reading. @param readAt asks anew when it changes; null: there is none */
export function useReading(node: string, readAt: string | null): DeviceReading | null {
  const [told, setTold] = useState<DeviceReading | null>(null);
  useEffect(() => {
    setTold(null);
    if (readAt === null) return;
    const gone = new AbortController();
    askController<DeviceReading | null>(pathOf(node), { signal: gone.signal }).then(setTold, () => {});
    return () => gone.abort();
  }, [node, readAt]);
  return told;
}
