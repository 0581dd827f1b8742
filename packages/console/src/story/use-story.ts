import type { RunStory } from "@dyetrace/wire";
import { useEffect, useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { link } from "../state/console-state.ts";

export type ToldStory =
  | { readonly kind: "asking" }
  | { readonly kind: "refused"; readonly refusal: Refusal }
  | { readonly kind: "told"; readonly story: RunStory };

/** A run that goes on is asked for again after this time. */
const AGAIN_MS = 2000;

/** The story of a run; of one that goes on again and again until it is over. */
export function useStory(runId: string): ToldStory {
  const [told, setTold] = useState<ToldStory>({ kind: "asking" });
  const isOn = link.value.kind === "on";
  useEffect(() => {
    if (!isOn) return;
    const gone = new AbortController();
    let timer: ReturnType<typeof setTimeout> | undefined;
    const ask = (): void => {
      askController<RunStory>(`/api/runs/${encodeURIComponent(runId)}/story`, { signal: gone.signal }).then(
        (story) => {
          setTold({ kind: "told", story });
          if (!story.isOver) timer = setTimeout(ask, AGAIN_MS);
        },
        (error: unknown) => {
          if (!gone.signal.aborted) setTold({ kind: "refused", refusal: asRefusal(error) });
        },
      );
    };
    ask();
    return () => {
      clearTimeout(timer);
      gone.abort();
    };
  }, [runId, isOn]);
  return told;
}
