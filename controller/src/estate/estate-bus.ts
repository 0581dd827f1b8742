import { EventEmitter } from "node:events";
import Type from "@dyetrace/schema";
import { parseAs, type RunProgress, RunProgressSchema } from "@dyetrace/wire";
import { CONTROLLER_INSTANCE } from "../about/controller-instance.ts";
import type { StoreBus } from "../store/store-bus.ts";

/** What controllers of one estate tell each other. A later version may say more. */
export type EstateWord =
  /** Every source is to end, at once. */
  | { readonly kind: "stop-all"; readonly by?: string }
  | { readonly kind: "stop-run"; readonly runId: string; readonly by?: string }
  /** The controller that conducts a run needs these agents. */
  | { readonly kind: "call"; readonly to: string; readonly runId: string; readonly agents: readonly string[] }
  /** What a conductor says of its run; of its end only that the report is in the store. */
  | { readonly kind: "progress"; readonly runId: string; readonly progress: RunProgress | "stored" };

const RunId = Type.String({ pattern: "^[0-9a-f]{16}$" });
const By = Type.String({ maxLength: 200 });
const EstateWordSchema: Type.TSchema = Type.Union([
  Type.Object({ kind: Type.Literal("stop-all"), by: Type.Optional(By) }),
  Type.Object({ kind: Type.Literal("stop-run"), runId: RunId, by: Type.Optional(By) }),
  Type.Object({
    kind: Type.Literal("call"),
    to: RunId,
    runId: RunId,
    agents: Type.Array(Type.String({ maxLength: 64 }), { maxItems: 10_000 }),
  }),
  Type.Object({
    kind: Type.Literal("progress"),
    runId: RunId,
    progress: Type.Union([Type.Literal("stored"), RunProgressSchema]),
  }),
]);

export interface EstateBusEvents {
  /** Of another controller. */
  word: [EstateWord];
  /** Something may have been missed. */
  resumed: [];
}

/** The words of this controller to the others, and theirs to it. Where the store is its own there are no others. */
export class EstateBus extends EventEmitter<EstateBusEvents> {
  readonly #bus: StoreBus | null;

  constructor(bus: StoreBus | null) {
    super();
    this.setMaxListeners(0);
    this.#bus = bus;
    bus?.on("message", (from, value) => {
      if (from === CONTROLLER_INSTANCE) return;
      let word: EstateWord;
      try {
        word = parseAs(EstateWordSchema, value, "MESSAGE_INVALID", "Another controller's word") as EstateWord;
      } catch {
        return; // a later version's
      }
      this.emit("word", word);
    });
    bus?.on("resumed", () => this.emit("resumed"));
  }

  get isAlone(): boolean {
    return this.#bus === null;
  }

  /** Best effort: what must not be missed stands in the store as well. */
  async say(word: EstateWord): Promise<void> {
    await this.#bus?.publish(CONTROLLER_INSTANCE, word);
  }
}
