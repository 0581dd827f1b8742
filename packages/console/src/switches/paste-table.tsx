import type { DeviceReading } from "@dyetrace/wire/devices/device-reading";
import type { ReadingSummary } from "@dyetrace/wire/devices/reading-summary";
import { useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { RefusalNote } from "../parts/refusal-note.tsx";
import { plan } from "../state/console-state.ts";
import { sayWhen } from "./device-row.tsx";

/** Gives the controller a group table that it can't read itself, as somebody copied it from the switch's own display. */
export function PasteTable(props: {
  readonly pasted: readonly ReadingSummary[];
  readonly mayPaste: boolean;
  readonly onPasted: () => void;
}) {
  const { pasted, mayPaste } = props;
  const [node, setNode] = useState("");
  const [text, setText] = useState("");
  const [done, setDone] = useState<string | null>(null);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const names = plan.value?.drawing.nodes.flatMap(({ name, kind }) => (kind === "host" ? [] : [name])) ?? [];
  const paste = (event: Event): void => {
    event.preventDefault();
    setDone(null);
    setRefusal(null);
    const path = `/api/devices/${encodeURIComponent(node.trim())}/table`;
    askController<DeviceReading>(path, { method: "PUT", body: { file: "the pasted table", text } }).then(
      ({ groups, readAt }) => {
        const count = groups?.length ?? 0;
        setDone(
          `The controller has ${count} ${count === 1 ? "group" : "groups"} of ${node.trim()}, ${sayWhen(readAt)}.`,
        );
        setText("");
        props.onPasted();
      },
      (error: unknown) => setRefusal(asRefusal(error)),
    );
  };
  return (
    <section class="add-agent" aria-labelledby="paste-table">
      <h2 id="paste-table">Paste a group table</h2>
      <p class="small">
        For a switch that the controller can't read. A table counts for a run that goes on while it is pasted.
      </p>
      {pasted.length > 0 && (
        <ul class="plain small">
          {pasted.map((one) => (
            <li key={one.node}>
              <b>{one.node}</b>: {one.groups ?? "an unknown number of"} {one.groups === 1 ? "group" : "groups"}, pasted{" "}
              {sayWhen(one.readAt)}
            </li>
          ))}
        </ul>
      )}
      {mayPaste && (
        <form onSubmit={paste}>
          <label class="field">
            <span>Switch in the plan</span>
            <input value={node} list="plan-switches" required onInput={(event) => setNode(event.currentTarget.value)} />
            <datalist id="plan-switches">
              {names.map((name) => (
                <option key={name} value={name} />
              ))}
            </datalist>
          </label>
          <label class="field">
            <span>Table as CSV, its first line port,vlan,group</span>
            <textarea
              class="pasted"
              rows={6}
              value={text}
              spellcheck={false}
              placeholder={"port,vlan,group\n1,10,239.195.10.4"}
              required
              onInput={(event) => setText(event.currentTarget.value)}
            />
          </label>
          <button type="submit" class="press">
            Give it to the controller
          </button>
        </form>
      )}
      {refusal !== null && <RefusalNote refusal={refusal} />}
      {done !== null && <p role="status">{done}</p>}
    </section>
  );
}
