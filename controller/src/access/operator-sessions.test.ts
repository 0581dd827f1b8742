import { expect, test } from "vitest";
import type { OperatorRecord } from "./access-records.ts";
import { OperatorSessions } from "./operator-sessions.ts";
import { hashPassword } from "./password.ts";

const PASSWORD = "correct horse 1";
const recordOf = async (change: Partial<OperatorRecord> = {}): Promise<OperatorRecord> => ({
  name: "anna",
  role: "operate",
  password: await hashPassword(PASSWORD),
  since: "2026-11-25T00:00:00.000Z",
  ...change,
});

test("a session: given its operator's record, then it is theirs, in the role that the record has", async () => {
  const sessions = new OperatorSessions();
  const anna = await recordOf();
  const { secret, formToken } = sessions.begin(anna, 0);
  expect(sessions.find(secret, [anna], 1)).toEqual({ operator: anna, formToken });
  expect(sessions.find("made up", [anna], 1)).toBeNull();
});

test("a session: given that the password was reset, be it to the same one, then it has ended for good", async () => {
  const sessions = new OperatorSessions();
  const before = await recordOf();
  const { secret } = sessions.begin(before, 0);
  expect(sessions.find(secret, [await recordOf()], 1)).toBeNull();
  expect(sessions.find(secret, [before], 2)).toBeNull(); // not even where the old record comes back
});

test("a session: given that its operator was removed and added again, then it does not come alive", async () => {
  const sessions = new OperatorSessions();
  const { secret } = sessions.begin(await recordOf(), 0);
  const again = await recordOf();
  expect(sessions.find(secret, [again], 1)).toBeNull(); // nobody had looked in between
  const other = sessions.begin(again, 2);
  expect(sessions.find(other.secret, [], 3)).toBeNull();
  expect(sessions.find(other.secret, [again], 4)).toBeNull();
});

test("a session: given eight hours without a request, or seven days, then it has ended", async () => {
  const sessions = new OperatorSessions();
  const anna = await recordOf();
  const hourMs = 3600e3;
  const idle = sessions.begin(anna, 0).secret;
  expect(sessions.find(idle, [anna], 8 * hourMs)).not.toBeNull();
  expect(sessions.find(idle, [anna], 16 * hourMs + 1)).toBeNull();
  const busy = sessions.begin(anna, 0).secret;
  for (let atMs = 0; atMs <= 168 * hourMs; atMs += 6 * hourMs) expect(sessions.find(busy, [anna], atMs)).not.toBeNull();
  expect(sessions.find(busy, [anna], 168 * hourMs + 1)).toBeNull();
});
