import { expect, test } from "vitest";
import { FairRoom } from "./fair-room.ts";

test("FairRoom: given hosts that take all that they get, then whoever comes from elsewhere still has a place", () => {
  const room = new FairRoom(100);
  const out: string[] = [];
  const enter = (key: string, share: string): void => room.enter(key, share, () => out.push(key));
  for (let i = 0; i < 1000; i++) enter(`flood ${i}`, `192.0.2.${i % 5}`);
  expect([room.present, out.length]).toEqual([100, 900]);
  enter("agent", "198.51.100.1");
  for (let i = 1000; i < 2000; i++) enter(`flood ${i}`, `192.0.2.${i % 5}`);
  expect(out).not.toContain("agent");
  expect(room.presentOf("198.51.100.1")).toBe(1);
  expect(out[0]).toBe("flood 0");
});

test("FairRoom: given that they leave by themselves, then nobody is told, and the room is empty", () => {
  const room = new FairRoom(2);
  const leave = (): void => expect.unreachable();
  room.enter("a", "x", leave);
  room.enter("a", "x", leave); // the same one again
  room.enter("b", "y", leave);
  room.leave("a", "x");
  room.leave("a", "x");
  room.enter("c", "x", leave);
  for (const [key, share] of [
    ["b", "y"],
    ["c", "x"],
  ] as const)
    room.leave(key, share);
  expect(room.present).toBe(0);
});
