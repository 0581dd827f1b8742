import { Fault } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { waitForInterface } from "./wait-for-interface.ts";

const missing = (): Fault => new Fault("INTERFACE_UNKNOWN", 'This host has no interface "eth1"', "Up are: lo.");
const never = new AbortController().signal;

test("waiting for an interface: given one that comes at the third look, then it is said once, and it is taken", async () => {
  const told: string[] = [];
  let looks = 0;
  const look = (): string => {
    looks++;
    if (looks < 3) throw missing();
    return "eth1";
  };
  expect(await waitForInterface(look, (fault) => told.push(fault.message), never, 1)).toBe("eth1");
  expect([looks, told]).toEqual([3, ['This host has no interface "eth1"']]);
});

test("waiting for an interface: given another mistake, then it is not waited for; given an end, then waiting ends", async () => {
  const cannot = new Fault("AGENT_CANNOT", "no", "");
  const look = (fault: Fault) => (): never => {
    throw fault;
  };
  await expect(waitForInterface(look(cannot), () => undefined, never, 1)).rejects.toBe(cannot);
  const stop = new AbortController();
  const waiting = waitForInterface(look(missing()), () => stop.abort(new Error("ended")), stop.signal, 60_000);
  await expect(waiting).rejects.toMatchObject({ name: "AbortError" });
});
