import { randomBytes } from "node:crypto";
import type { ControllerMessage } from "@dyetrace/wire";
import type { AgentRegistry, Gathered } from "../agents/agent-registry.ts";
import type { AgentSession } from "../agents/agent-session.ts";

/** Since this protocol an agent keeps headers. */
export const KEEPS_SINCE = 9;
const ANSWER_WITHIN_MS = 15_000;

/** What agents answered, by name. */
export type AgentHeaders = ReadonlyMap<string, Gathered>;
export type WantedHeaders = Omit<Extract<ControllerMessage, { readonly kind: "gather" }>, "kind" | "id">;

/** @param names agents of the run @returns the answers of those that gave one in time */
export function askForHeaders(
  names: readonly string[],
  wanted: WantedHeaders,
  registry: AgentRegistry,
): Promise<AgentHeaders> {
  const id = randomBytes(8).toString("hex");
  const asked = names.flatMap((name) => registry.find(name) ?? []).filter(({ protocol }) => protocol >= KEEPS_SINCE);
  const answers = new Map<string, Gathered>();
  return new Promise((resolve) => {
    const finish = (): void => {
      clearTimeout(timer);
      registry.off("gathered", onGathered);
      registry.off("gone", onGone);
      resolve(answers);
    };
    const waiting = new Set(asked.map(({ name }) => name));
    const strike = (name: string): void => {
      waiting.delete(name);
      if (waiting.size === 0) finish();
    };
    const onGathered = ({ name }: AgentSession, answer: Gathered): void => {
      if (answer.id !== id) return;
      answers.set(name, answer);
      strike(name);
    };
    const onGone = ({ name }: AgentSession): void => {
      if (waiting.has(name)) strike(name);
    };
    const timer = setTimeout(finish, ANSWER_WITHIN_MS);
    registry.on("gathered", onGathered);
    registry.on("gone", onGone);
    if (asked.length === 0) finish();
    for (const session of asked) session.send({ kind: "gather", id, ...wanted });
  });
}
