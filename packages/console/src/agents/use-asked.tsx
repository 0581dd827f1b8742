import type { VNode } from "preact";
import { useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { RefusalNote } from "../parts/refusal-note.tsx";

export interface Asked {
  /** @param done what is said where the controller has no message of its own */
  ask(path: string, method: "POST" | "DELETE", done: string, body?: object): void;
  /** What came of it. */
  readonly note: VNode;
}

/** Something that is ordered with a button, and what the controller says to it. @param onDone called after it was done */
export function useAsked(onDone: () => void = () => {}): Asked {
  const [says, setSays] = useState<string | null>(null);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const ask: Asked["ask"] = (path, method, done, body = {}) => {
    setRefusal(null);
    setSays("Asking …");
    askController<{ message?: string }>(path, { method, ...(method === "POST" ? { body } : {}) }).then(
      ({ message }) => {
        setSays(message ?? done);
        onDone();
      },
      (error: unknown) => {
        setSays(null);
        setRefusal(asRefusal(error));
      },
    );
  };
  const note = (
    <>
      {says !== null && (
        <span class="small" role="status">
          {says}
        </span>
      )}
      {refusal !== null && <RefusalNote refusal={refusal} />}
    </>
  );
  return { ask, note };
}
