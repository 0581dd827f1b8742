import { useEffect, useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { link } from "./console-state.ts";

export interface SettledAnswer<Answer> {
  readonly answer: Answer | null;
  readonly refusal: Refusal | null;
  /** For what else the same place may be refused; the next answer clears it. */
  readonly setRefusal: (refusal: Refusal | null) => void;
}

/**
 * What the controller says of something that is being written, once its writer has paused for `settledMs`.
 * @param body asked about anew whenever `key` changes
 */
export function useSettledAnswer<Answer>(
  path: string,
  body: object,
  key: string,
  settledMs: number,
): SettledAnswer<Answer> {
  const [answer, setAnswer] = useState<Answer | null>(null);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const isOn = link.value.kind === "on";
  useEffect(() => {
    if (!isOn) return;
    const gone = new AbortController();
    const timer = setTimeout(() => {
      askController<Answer>(path, { method: "POST", body, signal: gone.signal }).then(
        (next) => {
          setAnswer(() => next);
          setRefusal(null);
        },
        (error: unknown) => {
          if (!gone.signal.aborted) setRefusal(asRefusal(error));
        },
      );
    }, settledMs);
    return () => {
      clearTimeout(timer);
      gone.abort();
    };
  }, [key, isOn]);
  return { answer, refusal, setRefusal };
}
