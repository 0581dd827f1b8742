import { useState } from "preact/hooks";
import { type NodePartProps, neighboursOf } from "./neighbours-of.ts";

/** Makes two nodes of one: some of what hangs there hangs at the new one. */
export function SplitNode({ drawing, node, isBusy, onEdit }: NodePartProps) {
  const [apart, setApart] = useState<readonly string[]>([]);
  const [name, setName] = useState("");
  const neighbours = neighboursOf(drawing, node);
  if (neighbours.length < 2) return null;
  return (
    <details>
      <summary class="small">Split {node} into two</summary>
      <form
        onSubmit={(event) => {
          event.preventDefault();
          onEdit({ kind: "split", node, name: name.trim(), neighbours: [...apart] });
        }}
      >
        <fieldset class="agents-field">
          <legend>These hang at the second node</legend>
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
          <input value={name} required maxLength={31} onInput={(event) => setName(event.currentTarget.value)} />
        </label>
        <button type="submit" class="press small" disabled={isBusy || apart.length === 0 || name.trim() === ""}>
          Split
        </button>
      </form>
    </details>
  );
}
