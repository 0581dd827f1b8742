import Type from "@dyetrace/schema";
import { expect, test } from "vitest";
import { Fault } from "./fault.ts";
import { Nullable } from "./nullable.ts";
import { parseAs } from "./parse-message.ts";

const Span = Type.Object(
  { from: Type.Integer({ minimum: 0 }), to: Nullable(Type.Integer()) },
  { additionalProperties: false },
);
const Message = Type.Union([
  Type.Object({ kind: Type.Literal("spans"), spans: Type.Array(Span, { maxItems: 500_000 }), about: Nullable(Span) }),
  Type.Object({ kind: Type.Literal("word"), word: Type.String({ maxLength: 4 }) }),
]);

function told(value: unknown): string {
  try {
    parseAs(Message, value, "MESSAGE_INVALID", "The message");
  } catch (error) {
    if (error instanceof Fault) return error.message;
    throw error;
  }
  return "as agreed";
}

const spans = (count: number): unknown[] => Array.from({ length: count }, (_, from) => ({ from, to: null }));

test("parse: given a message that is as agreed, then it is taken; given one that is not, then the place of its first mistake", () => {
  expect(told({ kind: "spans", spans: spans(3), about: null })).toBe("as agreed");
  expect(told({ kind: "word", word: "seven" })).toMatch(/^The message is not as agreed at \/word: .*4/);
  expect(told({ kind: "spans", spans: [...spans(2), { from: -1, to: 2 }], about: null })).toMatch(
    / at \/spans\/2\/from: .*0/,
  );
  expect(told({ kind: "spans", spans: [], about: { from: 1, to: "x" } })).toMatch(/ at \/about\/to: /);
  expect(told({ kind: "spans", spans: [{ from: 1 }], about: null })).toMatch(/ at \/spans\/0: .*to/);
  expect(told({ kind: "spans", spans: [{ from: 1, to: 1, more: 1 }], about: null })).toMatch(
    / at \/spans\/0\/more: nothing of this name is known/,
  );
  expect(told({ kind: "other" })).toMatch(/^The message is not as agreed/);
  for (const value of [null, 1, "word", [], {}, { kind: { toString: 1 } }])
    expect(told(value)).toMatch(/not as agreed/);
});

test("parse: given a mistake at the end of a long message, then its place is found, and nothing is asked of the rest but yes or no", () => {
  const long = spans(400_000);
  long.push({ from: "late", to: null });
  expect(told({ kind: "spans", spans: long, about: null })).toMatch(/ at \/spans\/400000\/from: /);
});

test("parse: given a long part that is wrong as a whole, then it is refused without going through all of it", () => {
  expect(told({ kind: "spans", spans: spans(500_001), about: null })).toBe(
    "The message is not as agreed at /spans: unknown shape",
  );
});
