import type { ComponentChildren, VNode } from "preact";
import { route } from "../state/route.ts";
import { type RunView, useViewedRun } from "../state/run-view.ts";
import { Awaited } from "./awaited.tsx";
import { RefusalNote } from "./refusal-note.tsx";

/** A page about the run of its address: what it shows of a run, and what it says where there is none. */
export function OfViewedRun({
  none,
  show,
}: {
  readonly none: ComponentChildren;
  readonly show: (view: RunView) => VNode;
}) {
  const viewed = useViewedRun(route.value.of);
  switch (viewed.kind) {
    case "none":
      return <p class="empty">{none}</p>;
    case "asking":
      return <Awaited what="the run" />;
    case "refused":
      return <RefusalNote refusal={viewed.refusal} />;
    case "run":
      return show(viewed.view);
  }
}
