import { expect, test } from "vitest";
import { SignInTurns } from "./sign-in-turns.ts";

/** Passwords that are being worked out, until the test lets one be done. */
function desk(random = () => 0) {
  const turns = new SignInTurns(random);
  const working: { readonly who: string; readonly done: () => void }[] = [];
  const outcomes: string[] = [];
  const ask = (who: string, isKnown = false): void => {
    const work = (): Promise<void> =>
      new Promise((resolve) => {
        working.push({ who, done: resolve });
      });
    turns.take(who, isKnown, work).then(
      () => outcomes.push(`${who} done`),
      (fault: { code: string }) => outcomes.push(`${who} ${fault.code}`),
    );
  };
  const settle = (): Promise<void> => new Promise((resolve) => setImmediate(resolve));
  return {
    ask,
    outcomes,
    working: async () => {
      await settle();
      return working.map(({ who }) => who);
    },
    finish: async () => {
      await settle();
      working.shift()?.done();
      await settle();
    },
    settle,
  };
}

test("SignInTurns: given two strangers and two who are known, then strangers have one turn at a time and never all of them", async () => {
  const { ask, working, finish } = desk();
  for (const network of ["a", "b"]) ask(network);
  expect(await working()).toEqual(["a"]);
  ask("laptop", true);
  ask("desk", true);
  expect(await working()).toEqual(["a", "laptop"]);
  await finish(); // a's: whoever is known goes before b
  expect(await working()).toEqual(["laptop", "desk"]);
  await finish();
  expect(await working()).toEqual(["desk", "b"]);
});

test("SignInTurns: given guessers from ever new networks, then a known device signs in at once all the same", async () => {
  const { ask, outcomes, working, finish, settle } = desk();
  for (let i = 0; i < 500; i++) ask(`network ${i}`);
  ask("laptop", true);
  expect(await working()).toEqual(["network 0", "laptop"]);
  await finish();
  await finish();
  await settle();
  expect(outcomes).toContain("laptop done");
});

test("SignInTurns: given a full line, then the newest waits and one that chance names is refused: nobody is kept out for coming last", async () => {
  const { ask, outcomes, settle, finish } = desk(() => 0.5);
  for (let i = 0; i <= 32; i++) ask(`network ${i}`); // one works, 32 wait
  ask("operator");
  await settle();
  expect(outcomes).toEqual(["network 17 TOO_MANY"]);
  for (let i = 0; i < 33; i++) await finish();
  expect(outcomes).toContain("operator done");
});

test("SignInTurns: given a second try from a network whose first is not over, then it is refused, and later ones are not", async () => {
  const { ask, outcomes, finish, settle } = desk();
  ask("a");
  ask("a");
  await settle();
  expect(outcomes).toEqual(["a TOO_MANY"]);
  await finish();
  ask("a");
  await finish();
  expect(outcomes).toEqual(["a TOO_MANY", "a done", "a done"]);
});

test("SignInTurns: given work that fails, then its turn is free again", async () => {
  const turns = new SignInTurns();
  for (let i = 0; i < 5; i++) {
    await expect(turns.take("a", false, () => Promise.reject(new Error("no")))).rejects.toThrow("no");
  }
  expect(await turns.take("a", false, async () => 7)).toBe(7);
});
