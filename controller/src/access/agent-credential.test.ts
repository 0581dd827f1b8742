import { expect, test } from "vitest";
import { AccessBook } from "./access-book.ts";
import { AgentDoor } from "./agent-door.ts";

const DAY_MS = 24 * 3600e3;
const BEGIN_MS = Date.UTC(2026, 10, 29);
const LASTS_MS = 90 * DAY_MS;

function enrolled(lastsMs = LASTS_MS) {
  const book = new AccessBook(null);
  const door = new AgentDoor(book, null, lastsMs);
  const { key } = door.makeKey("kiosk", "anna", BEGIN_MS);
  return { book, door, first: door.enrol(key, "kiosk", "192.0.2.7", BEGIN_MS).credential };
}
const isDue = ({ door }: ReturnType<typeof enrolled>, atMs: number): boolean | undefined =>
  door.enrolled(atMs)[0]?.isRenewalDue;
const drawn = (door: AgentDoor, atMs: number): string =>
  door.draw(new Set(["kiosk"]), atMs).get("kiosk")?.credential ?? "";
const codeOf = (work: () => unknown): string => {
  try {
    work();
    return "let in";
  } catch (error) {
    return (error as { code: string }).code;
  }
};

test("a credential: given its time, then it opens until then and not after, and it is due from half of it on", () => {
  const one = enrolled();
  const { door, first } = one;
  expect(isDue(one, BEGIN_MS + 44 * DAY_MS)).toBe(false);
  expect(isDue(one, BEGIN_MS + 46 * DAY_MS)).toBe(true);
  expect(codeOf(() => door.admit("kiosk", first, BEGIN_MS + LASTS_MS - 1))).toBe("let in");
  expect(codeOf(() => door.admit("kiosk", first, BEGIN_MS + LASTS_MS))).toBe("CREDENTIAL_EXPIRED");
  expect(() => door.admit("kiosk", first, BEGIN_MS + LASTS_MS)).toThrow("ended on 2027-02-27");
  expect(door.enrolled(BEGIN_MS + LASTS_MS)).toMatchObject([{ hasEnded: true, until: "2027-02-27T00:00:00.000Z" }]);
});

test("a credential: given a wall clock that was put forward, then a connection that stands is not cut for it", () => {
  const { door, first } = enrolled();
  const id = door.admit("kiosk", first, BEGIN_MS);
  expect(door.isGood("kiosk", id)).toBe(true); // it is not asked for the time at all
  door.revoke("kiosk");
  expect(door.isGood("kiosk", id)).toBe(false);
});

test("renewal: given another credential that was handed over, then both open until it is kept, and afterwards the old one is told apart from a guess", () => {
  const { door, book, first } = enrolled();
  const nowMs = BEGIN_MS + 50 * DAY_MS;
  const lost = drawn(door, nowMs); // whose message never arrived
  const second = drawn(door, nowMs);
  expect(JSON.stringify(book.records)).not.toContain(second.split(".")[1]);
  for (const key of [first, second]) expect(codeOf(() => door.admit("kiosk", key, nowMs))).toBe("let in");
  expect(codeOf(() => door.admit("kiosk", lost, nowMs))).toBe("NOT_AUTHORISED");
  door.takeUp(new Map([["kiosk", lost.split(".")[0] ?? ""]]), nowMs); // an answer to what is no more
  expect(codeOf(() => door.admit("kiosk", first, nowMs))).toBe("let in");
  door.takeUp(new Map([["kiosk", second.split(".")[0] ?? ""]]), nowMs);
  expect(codeOf(() => door.admit("kiosk", second, nowMs + 80 * DAY_MS))).toBe("let in");
  expect(codeOf(() => door.admit("kiosk", first, nowMs))).toBe("CREDENTIAL_REPLACED");
  expect(codeOf(() => door.admit("kiosk", `${first.split(".")[0]}.guess`, nowMs))).toBe("NOT_AUTHORISED");
  expect(codeOf(() => door.admit("tower", second, nowMs))).toBe("NOT_AUTHORISED");
});

test("renewal: given an order for one or for all, then it is due at once, once, and the credential in use holds until then", () => {
  const one = enrolled();
  const { door, first } = one;
  expect(door.orderRotation("tower")).toEqual([]);
  expect(door.orderRotation(null)).toEqual(["kiosk"]);
  expect(isDue(one, BEGIN_MS)).toBe(true);
  expect(codeOf(() => door.admit("kiosk", first, BEGIN_MS))).toBe("let in");
  door.takeUp(new Map([["kiosk", drawn(door, BEGIN_MS).split(".")[0] ?? ""]]), BEGIN_MS);
  expect(isDue(one, BEGIN_MS)).toBe(false);
});

test("renewal: given a credential of an earlier version, which has no end, or one that lasts longer than any made now, then it is due", () => {
  const old = enrolled();
  old.book.change(({ agents }) => ({ agents: agents.map(({ until: _none, ...agent }) => agent) }));
  expect(codeOf(() => old.door.admit("kiosk", old.first, BEGIN_MS + 10 * LASTS_MS))).toBe("let in");
  expect(isDue(old, BEGIN_MS)).toBe(true);
  const { book } = enrolled();
  expect(new AgentDoor(book, null, 10 * DAY_MS).enrolled(BEGIN_MS)).toMatchObject([{ isRenewalDue: true }]);
});

test("renewal: given a clock that stands before the agent's enrolment, then nothing is renewed by it, unless an operator wants it", () => {
  const one = enrolled();
  expect(isDue(one, Date.UTC(1970, 0, 2))).toBe(false); // a machine without a battery, before it has asked for the time
  expect(isDue(one, BEGIN_MS + 50 * DAY_MS)).toBe(true);
  one.door.orderRotation("kiosk");
  expect(isDue(one, Date.UTC(1970, 0, 2))).toBe(true);
});
