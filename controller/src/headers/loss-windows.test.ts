import { EventEmitter } from "node:events";
import { expect, test, vi } from "vitest";
import type { AgentRegistry } from "../agents/agent-registry.ts";
import type { CompiledRun } from "../plan/compiled-run.ts";
import { LossWindows } from "./loss-windows.ts";

interface Asked {
  readonly kind: string;
  readonly id: string;
  readonly fromNs: number;
  readonly toNs: number;
  readonly keepsOn: boolean;
}

test("loss windows: given losses in a long run, then the headers around them are asked for, apart from each other and a bounded number of times, and the agents go on keeping", async () => {
  vi.useFakeTimers();
  try {
    const asked: Asked[] = [];
    const emitter = new EventEmitter();
    const session = {
      name: "kiosk",
      protocol: 9,
      send: (message: Asked) => {
        asked.push(message);
        emitter.emit("gathered", session, { kind: "gathered", id: message.id, headers: null, why: "none" });
      },
    };
    const registry = Object.assign(emitter, { find: (name: string) => (name === "kiosk" ? session : undefined) });
    const run = { runId: "aa", tasks: new Map([["kiosk", { keepsHeaders: 65_536 }]]) } as unknown as CompiledRun;
    using windows = new LossWindows(run, registry as unknown as AgentRegistry);
    const tell = (atS: number, lost: number, runId = "aa"): void => {
      const report = {
        fromNs: (atS - 1) * 1e9,
        toNs: atS * 1e9,
        listeners: [{ receipt: { lost } }, { receipt: null }],
      };
      emitter.emit("message", session, { kind: "report", runId, report });
    };
    for (const [atS, lost] of [
      [5, 0],
      [6, 2],
      [7, 9],
      [30, 1],
      [60, 1],
      [90, 1],
      [120, 1],
    ] as const)
      tell(atS, lost);
    tell(200, 1, "bb"); // another run's
    await vi.advanceTimersByTimeAsync(2000);
    expect(await windows.parts()).toHaveLength(4);
    expect(asked.map(({ fromNs, toNs, keepsOn }) => [fromNs / 1e9, toNs / 1e9, keepsOn])).toEqual(
      [6, 30, 60, 90].map((atS) => [atS - 3, atS + 1, true]),
    );
  } finally {
    vi.useRealTimers();
  }
});
