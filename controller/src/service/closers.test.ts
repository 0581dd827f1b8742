import { describe, expect, test } from "vitest";
import { Closers, openAll } from "./closers.ts";

const STEPS = ["store", "intake", "registry", "app", "schedule", "sockets", "port"];

/** Opens one thing after another as the controller does, each after a turn of the event loop. */
function start(failsAt: string | null, unclosable: readonly string[] = []) {
  const open = new Set<string>();
  const closed: string[] = [];
  const troubles: unknown[] = [];
  const started = openAll(
    async (closers) => {
      for (const step of STEPS) {
        await Promise.resolve();
        if (step === failsAt) throw new Error(`no ${step}`);
        open.add(step);
        closers.add(async () => {
          closed.push(step);
          await Promise.resolve();
          if (unclosable.includes(step)) throw new Error(`${step} does not close`);
          open.delete(step);
        });
      }
      return closers;
    },
    (error) => troubles.push(error),
  );
  return { started, open, closed, troubles };
}

describe("openAll", () => {
  test.each(STEPS)(
    "given that %s cannot be opened, then all before it is closed, last first, and the failure is told",
    async (step) => {
      const { started, open, closed, troubles } = start(step);
      await expect(started).rejects.toThrow(`no ${step}`);
      expect([...open]).toEqual([]);
      expect(closed).toEqual(STEPS.slice(0, STEPS.indexOf(step)).reverse());
      expect(troubles).toEqual([]);
    },
  );

  test.each(STEPS.slice(1))(
    "given that %s cannot be opened and nothing can be closed, then each was still tried, and the failure is told first",
    async (step) => {
      const { started, closed, troubles } = start(step, STEPS);
      await expect(started).rejects.toThrow(`no ${step}`);
      expect(closed).toEqual(STEPS.slice(0, STEPS.indexOf(step)).reverse());
      expect(troubles).toHaveLength(1);
    },
  );

  test("given that all is opened, then nothing is closed before it is asked", async () => {
    const { started, open, closed } = start(null);
    await started;
    expect([...open]).toEqual(STEPS);
    expect(closed).toEqual([]);
  });
});

describe("Closers", () => {
  test("close: given that it is asked twice at the same time and once more, then each is closed once, and all wait for it", async () => {
    const { started, open, closed } = start(null);
    const closers = await started;
    await Promise.all([closers.close(), closers.close()]);
    expect([...open]).toEqual([]);
    await closers.close();
    expect(closed).toEqual(STEPS.toReversed());
  });

  test("close: given one that fails, then the others are closed all the same, and its failure is told", async () => {
    const { started, open } = start(null, ["app"]);
    const closers = await started;
    await expect(closers.close()).rejects.toThrow("app does not close");
    expect([...open]).toEqual(["app"]);
  });

  test("close: given several that fail, in a turn of the event loop or at once, then all their failures are told", async () => {
    const closers = new Closers();
    const closed: string[] = [];
    closers.own({ [Symbol.dispose]: () => void closed.push("first") });
    closers.add(() => {
      throw new Error("at once");
    });
    closers.own({ [Symbol.asyncDispose]: () => Promise.reject(new Error("later")) });
    const error = await closers.close().catch((caught: unknown) => caught);
    expect(error).toBeInstanceOf(AggregateError);
    expect((error as AggregateError).errors.map(String)).toEqual(["Error: later", "Error: at once"]);
    expect(closed).toEqual(["first"]);
  });

  test("add: given that it is being closed, then nothing more may be opened", async () => {
    const closers = new Closers();
    const closing = closers.close();
    expect(() => closers.add(() => undefined)).toThrow("it is being closed");
    await closing;
  });
});
