import type { UserFile } from "@dyetrace/wire";
import type { DrawEvent, DrawnPlan } from "@dyetrace/wire/console/plan-draw";
import { useState } from "preact/hooks";
import { asRefusal, Refusal } from "../link/ask-controller.ts";
import { askLines } from "../link/ask-lines.ts";
import { RefusalNote } from "../parts/refusal-note.tsx";

type Progress = { readonly done: number; readonly of: number };

/** Has the controller draw the site, tells how far it is, and what could not be read. */
export function DrawFromSite(props: {
  /** The plan as it stands on the page; null: there is none that changes could be proposed to. */
  readonly plan: UserFile | null;
  readonly mayDraw: boolean;
  readonly onDrawn: (drawn: DrawnPlan) => void;
}) {
  const { plan, mayDraw, onDrawn } = props;
  const [isUpdate, setUpdate] = useState(false);
  const [progress, setProgress] = useState<Progress | null>(null);
  const [unread, setUnread] = useState<readonly string[]>([]);
  const [drawn, setDrawn] = useState<DrawnPlan | null>(null);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const take = (event: DrawEvent): void => {
    if (event.kind === "reading") setProgress(event);
    else if (event.kind === "unread") setUnread((all) => [...all, event.says]);
    else if (event.kind === "failed") setRefusal(new Refusal("INTERNAL", event.message, event.hint));
    else {
      setDrawn(event);
      onDrawn(event);
    }
  };
  const draw = (): void => {
    setProgress({ done: 0, of: 0 });
    setUnread([]);
    setDrawn(null);
    setRefusal(null);
    const body = { updates: isUpdate ? plan : null };
    askLines<DrawEvent>("/api/console/plan-draw", { method: "POST", body }, take)
      .catch((error: unknown) => setRefusal(asRefusal(error)))
      .finally(() => setProgress(null));
  };
  return (
    <section class="draw-from-site" aria-labelledby="draw-from-site">
      <h2 id="draw-from-site">Draw from the site</h2>
      <p class="small">
        By what agents hear and the devices of the page Switches say. Agents send nothing for it, and nothing is kept
        before you save it.
      </p>
      <div class="plan-pair">
        <label class="field">
          <span>What becomes of it</span>
          <select
            value={isUpdate ? "update" : "new"}
            disabled={plan === null}
            onChange={(event) => setUpdate(event.currentTarget.value === "update")}
          >
            <option value="new">a plan drawn anew</option>
            <option value="update">changes to the plan on this page</option>
          </select>
        </label>
        <button type="button" class="press" disabled={!mayDraw || progress !== null} onClick={draw}>
          {progress === null ? "Draw from the site" : "Drawing …"}
        </button>
      </div>
      {!mayDraw && <p class="small soft">Only who may operate can draw: devices are read for it.</p>}
      <div role="status">
        {progress !== null && (
          <p class="small">
            {progress.of === 0
              ? "Asking the agents."
              : `${progress.done} of ${progress.of} ${progress.of === 1 ? "device" : "devices"} read.`}
          </p>
        )}
        {drawn !== null && <p class="small">{sayDrawn(drawn)}</p>}
        {unread.length > 0 && (
          <ul class="mistakes">
            {unread.slice(0, MOST_UNREAD).map((says) => (
              <li key={says}>{says}</li>
            ))}
            {unread.length > MOST_UNREAD && <li>and {unread.length - MOST_UNREAD} more</li>}
          </ul>
        )}
      </div>
      {refusal !== null && <RefusalNote refusal={refusal} />}
    </section>
  );
}

const MOST_UNREAD = 8;

function sayDrawn({ nodes, seen, concluded, open, questions }: DrawnPlan): string {
  const links = seen + concluded + open;
  const asked = questions === 0 ? "no question" : questions === 1 ? "1 question" : `${questions} questions`;
  return `Drawn: ${nodes} ${nodes === 1 ? "node" : "nodes"} and ${links} ${links === 1 ? "link" : "links"}, of which ${seen} seen, ${concluded} concluded and ${open} open; ${asked}.`;
}
