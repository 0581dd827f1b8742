import { signal } from "@preact/signals";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";

/** What became of the last order to stop every source. */
export type StopOrder =
  | { readonly kind: "none" }
  | { readonly kind: "asking" }
  | { readonly kind: "told"; readonly agents: readonly string[] }
  | { readonly kind: "refused"; readonly refusal: Refusal };

export const stopOrder = signal<StopOrder>({ kind: "none" });

/** Orders every connected agent to stop sending, whatever run that belongs to. */
export async function stopEverySource(): Promise<void> {
  stopOrder.value = { kind: "asking" };
  try {
    const { agents } = await askController<{ readonly agents: readonly string[] }>("/api/stop", { method: "POST" });
    stopOrder.value = { kind: "told", agents };
  } catch (error) {
    stopOrder.value = { kind: "refused", refusal: asRefusal(error) };
  }
}
