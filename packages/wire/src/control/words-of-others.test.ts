import { expect, test } from "vitest";
import { withoutControls } from "../bounds.ts";
import { AgentHelloHeadSchema, AgentMessageSchema, ControllerMessageSchema } from "./control-messages.ts";

/** Erase a line (ECMA-48: CSI K), return to its beginning, NUL, the one-byte CSI, turn the writing (U+202E), a line separator. */
const HARMFUL = ["\u001b[2K", "\r", "\u0000", "\u009b2K", "\u202e", "\u2066", "\u2028"];

interface Found {
  readonly path: string;
  readonly pattern: string | undefined;
}

/** Every place of a schema where a text may stand that the schema does not name itself. */
function* textsIn(schema: unknown, path: string): Generator<Found> {
  if (typeof schema !== "object" || schema === null) return;
  const { type, pattern, const: known } = schema as { type?: string; pattern?: string; const?: unknown };
  if (type === "string" && known === undefined) yield { path, pattern };
  for (const [key, value] of Object.entries(schema)) if (key !== "required") yield* textsIn(value, `${path}/${key}`);
}

test.each([
  ["an agent's hello", AgentHelloHeadSchema],
  ["an agent's message", AgentMessageSchema],
  ["the controller's message", ControllerMessageSchema],
])("%s: given any text of it, then it holds nothing that could write over what an operator reads", (_name, schema) => {
  const texts = [...textsIn(schema, "")];
  expect(texts.length).toBeGreaterThan(1);
  const open = texts.filter(({ pattern }) => {
    const form = pattern === undefined ? null : new RegExp(pattern, "u");
    return form === null || HARMFUL.some((harm) => form.test(harm) || form.test(`a${harm}b`));
  });
  expect(open).toEqual([]);
});

test("withoutControls: given such characters, then they are replaced, and plain words with tabs and lines stay", () => {
  for (const harm of HARMFUL) expect(withoutControls(`a${harm}b`)).toMatch(/^a\ufffd.*b$/u);
  expect(withoutControls("one\n\ttwo: ünïcode — 𝕏")).toBe("one\n\ttwo: ünïcode — 𝕏");
});
