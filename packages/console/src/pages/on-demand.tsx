import type { ComponentType } from "preact";
import { useEffect, useState } from "preact/hooks";
import { link } from "../state/console-state.ts";

/** A page whose program is loaded when somebody opens it, and then kept. */
export function onDemand(load: () => Promise<ComponentType>): ComponentType {
  let known: ComponentType | null = null;
  return function OnDemand() {
    const [View, setView] = useState<ComponentType | null>(() => known);
    const [isMissing, setMissing] = useState(false);
    const isOn = link.value.kind === "on";
    useEffect(() => {
      if (View !== null) return;
      load().then(
        (next) => {
          known = next;
          setView(() => next);
        },
        () => setMissing(true),
      );
    }, [isOn]);
    if (View !== null) return <View />;
    return <p class="empty">{isMissing ? "This page could not be loaded. Load the console again." : "Loading …"}</p>;
  };
}
