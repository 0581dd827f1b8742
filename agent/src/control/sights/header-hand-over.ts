import type { AgentMessage, ControllerMessage } from "@dyetrace/wire";
import type { Watcher } from "../../watcher/open-watcher.ts";

type Order = Extract<ControllerMessage, { readonly kind: "gather" }>;
type Gathered = Extract<AgentMessage, { readonly kind: "gathered" }>;

/** Hands over the headers that were kept of a run: what there is of them, or why there are none. */
export async function handOverHeaders(
  { id, runId, fromNs, toNs, mostBytes, keepsOn }: Order,
  watcher: Watcher,
  send: (message: Gathered) => void,
): Promise<void> {
  const kept = await watcher.readHeaders({ runId, fromNs, toNs, mostBytes, keepsOn });
  if (kept === null) {
    send({ kind: "gathered", id, headers: null, why: watcher.inability?.message ?? "It kept no headers of this run" });
    return;
  }
  const { data, membership, overwritten, leftOut, dropped } = kept;
  const headers = { data: base64(data), membership: base64(membership), overwritten, leftOut, dropped };
  send({ kind: "gathered", id, headers, why: "" });
}

const base64 = (bytes: Uint8Array): string =>
  Buffer.from(bytes.buffer, bytes.byteOffset, bytes.byteLength).toString("base64");
