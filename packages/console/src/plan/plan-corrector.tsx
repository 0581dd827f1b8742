import type { PlanDrawing } from "@dyetrace/wire/console/plan-drawing";
import { useState } from "preact/hooks";
import { SureButton } from "../parts/sure-button.tsx";
import type { PlanEdit } from "./edit-plan.ts";

const KINDS = ["host", "switch", "unmanaged", "router", "access-point"] as const;

/** What can be corrected at the place that was pointed at: its name, where it hangs, what it is one with, what is missing. */
export function PlanCorrector(props: {
  readonly drawing: PlanDrawing;
  readonly node: string;
  /** What speaks against the last correction; null: nothing. */
  readonly says: string | null;
  readonly onEdit: (edit: PlanEdit) => void;
}) {
  const { drawing, node, says, onEdit } = props;
  const [name, setName] = useState(node);
  const [other, setOther] = useState("");
  const [added, setAdded] = useState("");
  const [kind, setKind] = useState<string>("host");
  const [apart, setApart] = useState<readonly string[]>([]);
  const [second, setSecond] = useState("");
  const self = drawing.nodes.find((one) => one.name === node);
  if (self === undefined) return null;
  const neighbours = [
    ...new Set(drawing.links.flatMap(({ a, b }) => (a.node === node ? [b.node] : b.node === node ? [a.node] : []))),
  ];
  const others = drawing.nodes.flatMap((one) => (one.name === node ? [] : [one.name]));
  const chosen = others.includes(other) ? other : (others[0] ?? "");
  const submit =
    (edit: PlanEdit) =>
    (event: Event): void => {
      event.preventDefault();
      onEdit(edit);
    };
  return (
    <section class="plan-corrector" aria-labelledby="corrector">
      <h2 id="corrector">
        Correct {node} <span class="soft small">{self.kind}</span>
      </h2>
      {says !== null && <p role="alert">{says}</p>}
      <form onSubmit={submit({ kind: "rename", node, to: name.trim() })}>
        <label class="field">
          <span>Name</span>
          <input value={name} required onInput={(event) => setName(event.currentTarget.value)} />
        </label>
        <button type="submit" class="press small" disabled={name.trim() === node}>
          Rename
        </button>
      </form>
      <form onSubmit={submit({ kind: "move", node, to: chosen })}>
        <label class="field">
          <span>Another node</span>
          <select value={chosen} onChange={(event) => setOther(event.currentTarget.value)}>
            {others.map((one) => (
              <option key={one} value={one}>
                {one}
              </option>
            ))}
          </select>
        </label>
        <div class="plan-corrector-buttons">
          {neighbours.length === 1 && (
            <button type="submit" class="press small">
              Move it there
            </button>
          )}
          {self.kind !== "host" && (
            <SureButton
              label="Join with it"
              sure={`Really make ${node} and ${chosen} one?`}
              onSure={() => onEdit({ kind: "join", node, other: chosen })}
            />
          )}
        </div>
      </form>
      {self.kind !== "host" && (
        <>
          <form onSubmit={submit({ kind: "add", at: node, name: added.trim(), nodeKind: kind })}>
            <label class="field">
              <span>New node that hangs here</span>
              <input value={added} required onInput={(event) => setAdded(event.currentTarget.value)} />
            </label>
            <label class="field">
              <span>Kind</span>
              <select value={kind} onChange={(event) => setKind(event.currentTarget.value)}>
                {KINDS.map((one) => (
                  <option key={one} value={one}>
                    {one}
                  </option>
                ))}
              </select>
            </label>
            <button type="submit" class="press small">
              Add
            </button>
          </form>
          <form onSubmit={submit({ kind: "split", node, name: second.trim(), neighbours: apart })}>
            <fieldset class="agents-field">
              <legend>Split: these hang at a second node</legend>
              <div>
                {neighbours.map((one) => (
                  <label key={one}>
                    <input
                      type="checkbox"
                      checked={apart.includes(one)}
                      onChange={(event) =>
                        setApart(event.currentTarget.checked ? [...apart, one] : apart.filter((kept) => kept !== one))
                      }
                    />
                    {one}
                  </label>
                ))}
              </div>
            </fieldset>
            <label class="field">
              <span>Name of the second node</span>
              <input value={second} required onInput={(event) => setSecond(event.currentTarget.value)} />
            </label>
            <button type="submit" class="press small">
              Split
            </button>
          </form>
        </>
      )}
      <SureButton
        label={`Remove ${node}`}
        sure={`Really remove ${node}, with its links?`}
        onSure={() => onEdit({ kind: "remove", node })}
      />
    </section>
  );
}
