import type { Night } from "@dyetrace/wire";
import { useEffect, useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { link } from "../state/console-state.ts";

const AGAIN_MS = 20_000;

export interface ToldNight {
  readonly night: Night | null;
  readonly refusal: Refusal | null;
  /** When it was told, on this page's clock. */
  readonly toldAt: Date | null;
}

/** A run's night, asked for again while it goes on. What was told stays while the controller is away. */
export function useNight(runId: string): ToldNight {
  const [told, setTold] = useState<ToldNight>({ night: null, refusal: null, toldAt: null });
  const isOn = link.value.kind === "on";
  useEffect(() => {
    if (!isOn) return;
    const gone = new AbortController();
    let again: ReturnType<typeof setTimeout> | undefined;
    const ask = (): void => {
      askController<Night>(`/api/runs/${encodeURIComponent(runId)}/night`, { signal: gone.signal }).then(
        (night) => {
          setTold({ night, refusal: null, toldAt: new Date() });
          if (!night.isOver) again = setTimeout(ask, AGAIN_MS);
        },
        (error: unknown) => {
          if (!gone.signal.aborted) setTold((before) => ({ ...before, refusal: asRefusal(error) }));
        },
      );
    };
    ask();
    return () => {
      clearTimeout(again);
      gone.abort();
    };
  }, [runId, isOn]);
  return told;
}
