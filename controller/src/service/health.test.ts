import { fastify } from "fastify";
import { afterEach, beforeEach, expect, test, vi } from "vitest";
import { StoreClock } from "../estate/store-clock.ts";
import type { Store } from "../store/store.ts";
import { registerHealth } from "./health.ts";

beforeEach(() => void vi.useFakeTimers({ toFake: ["setInterval", "clearInterval", "performance"] }));
afterEach(() => void vi.useRealTimers());

test("health: given a database that goes and comes back, then 503 once it has not answered for 5 s, and 200 again with its first answer", async () => {
  let isThere = true;
  const clockMs = (): Promise<number> => (isThere ? Promise.resolve(1e12) : Promise.reject(new Error("gone")));
  using clock = new StoreClock({ isPrivate: false, clockMs } as unknown as Store);
  const app = fastify();
  registerHealth(app, clock, { isTroubled: false });
  const ask = async (): Promise<unknown> => {
    const answer = await app.inject({ url: "/health" });
    return [answer.statusCode, answer.json()];
  };
  const serves = { serves: true, store: "reachable", takesReports: true };
  const doesNot = { serves: false, store: "unreachable", takesReports: true };
  expect(await ask()).toEqual([503, doesNot]); // before the first answer nobody knows
  await vi.advanceTimersByTimeAsync(1000);
  expect(await ask()).toEqual([200, serves]);
  isThere = false;
  await vi.advanceTimersByTimeAsync(4000);
  expect(await ask()).toEqual([200, serves]);
  await vi.advanceTimersByTimeAsync(1000);
  expect(await ask()).toEqual([503, doesNot]);
  isThere = true;
  await vi.advanceTimersByTimeAsync(1000);
  expect(await ask()).toEqual([200, serves]);
  await app.close();
});
