import { useState } from "preact/hooks";
import { SureButton } from "../parts/sure-button.tsx";
import { type NodePartProps, neighboursOf } from "./neighbours-of.ts";

/** Hangs a node at another one, joins two that are one, or adds the link between them: the same by keyboard as by dragging. */
export function MoveNode({ drawing, node, isBusy, onEdit }: NodePartProps) {
  const [other, setOther] = useState("");
  const [from, setFrom] = useState("");
  const [port, setPort] = useState("");
  const neighbours = neighboursOf(drawing, node);
  const others = drawing.nodes.flatMap((one) => (one.name === node ? [] : [one.name]));
  const chosen = others.includes(other) ? other : (others[0] ?? "");
  const left = neighbours.includes(from) ? from : (neighbours[0] ?? "");
  const named = port.trim();
  return (
    <form
      onSubmit={(event) => {
        event.preventDefault();
        onEdit({ kind: "move", node, from: left, to: chosen, ...(named === "" ? {} : { port: named }) });
      }}
    >
      <div class="plan-pair">
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
        <label class="field">
          <span>Port there</span>
          <input
            value={port}
            placeholder="first free"
            maxLength={13}
            onInput={(event) => setPort(event.currentTarget.value)}
          />
        </label>
      </div>
      {neighbours.length > 1 && (
        <label class="field">
          <span>Which link moves</span>
          <select value={left} onChange={(event) => setFrom(event.currentTarget.value)}>
            {neighbours.map((one) => (
              <option key={one} value={one}>
                the one to {one}
              </option>
            ))}
          </select>
        </label>
      )}
      <div class="plan-corrector-buttons">
        {neighbours.length > 0 && (
          <button type="submit" class="press small" disabled={isBusy}>
            Move it there
          </button>
        )}
        {!neighbours.includes(chosen) && (
          <button
            type="button"
            class="press small"
            disabled={isBusy}
            onClick={() => onEdit({ kind: "link", a: chosen, b: node })}
          >
            Add a link to it
          </button>
        )}
        <SureButton
          label="Join with it"
          sure={`Really make ${node} and ${chosen} one, called ${node}?`}
          onSure={() => onEdit({ kind: "join", node, other: chosen })}
        />
      </div>
    </form>
  );
}
