import { useState } from "preact/hooks";
import { KINDS, type NodePartProps } from "./neighbours-of.ts";

/** Adds a node that hangs at the chosen one. */
export function NewNode({ node, isBusy, onEdit }: NodePartProps) {
  const [name, setName] = useState("");
  const [kind, setKind] = useState<(typeof KINDS)[number]>("host");
  return (
    <form
      onSubmit={(event) => {
        event.preventDefault();
        setName("");
        onEdit({ kind: "add", at: node, name: name.trim(), nodeKind: kind });
      }}
    >
      <div class="plan-pair">
        <label class="field">
          <span>New node that hangs here</span>
          <input value={name} required maxLength={31} onInput={(event) => setName(event.currentTarget.value)} />
        </label>
        <label class="field">
          <span>Kind of the new node</span>
          <select value={kind} onChange={(event) => setKind(event.currentTarget.value as (typeof KINDS)[number])}>
            {KINDS.map((one) => (
              <option key={one} value={one}>
                {one}
              </option>
            ))}
          </select>
        </label>
      </div>
      <button type="submit" class="press small" disabled={isBusy || name.trim() === ""}>
        Add
      </button>
    </form>
  );
}
