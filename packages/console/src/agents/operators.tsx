import type { OperatorEntry } from "@dyetrace/wire/console/operators";
import { useEffect, useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { formatDay } from "../parts/format.ts";
import { RefusalNote } from "../parts/refusal-note.tsx";
import { SureButton } from "../parts/sure-button.tsx";
import { link } from "../state/console-state.ts";
import { session } from "../state/session.ts";
import { useAsked } from "./use-asked.tsx";

const ROLES: Readonly<Record<OperatorEntry["role"], string>> = {
  view: "may look",
  operate: "may look, start, stop, and let others in",
};

/** People who may sign in: listed, added, and taken away. Nothing where nobody signs in. */
export function Operators() {
  const isOn = link.value.kind === "on";
  const who = session.value;
  const [operators, setOperators] = useState<readonly OperatorEntry[] | null>(null);
  const isNeeded = who !== null && !who.isOpen;
  const load = (): void => {
    if (!isOn || !isNeeded) return;
    askController<readonly OperatorEntry[]>("/api/operators").then(setOperators, () => {});
  };
  useEffect(load, [isOn, isNeeded]);
  if (!isNeeded || operators === null) return null;
  const mayChange = who.operator?.role === "operate";
  return (
    <section class="add-agent" aria-labelledby="operators">
      <h2 id="operators">Operators</h2>
      <ul class="tokens">
        {operators.map((one) => (
          <Entry
            key={one.name}
            operator={one}
            mayRemove={mayChange && one.name !== who.operator?.name}
            onRemoved={load}
          />
        ))}
      </ul>
      {mayChange && <NewOperator onMade={load} />}
    </section>
  );
}

function Entry(props: {
  readonly operator: OperatorEntry;
  readonly mayRemove: boolean;
  readonly onRemoved: () => void;
}) {
  const { name, role, since } = props.operator;
  const { ask, note } = useAsked(props.onRemoved);
  return (
    <li>
      <b>{name}</b>
      <span>{ROLES[role]}</span>
      <span class="small soft">since {formatDay(since)}</span>
      <div class="agent-care">
        {props.mayRemove && (
          <SureButton
            label={`Remove ${name}`}
            sure={`Really remove ${name}, with the tokens made by ${name}?`}
            onSure={() => ask(`/api/operators/${encodeURIComponent(name)}`, "DELETE", "Removed")}
          />
        )}
        {note}
      </div>
    </li>
  );
}

function NewOperator({ onMade }: { readonly onMade: () => void }) {
  const [name, setName] = useState("");
  const [role, setRole] = useState("view");
  const [password, setPassword] = useState("");
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const add = (event: Event): void => {
    event.preventDefault();
    setRefusal(null);
    askController("/api/operators", { method: "POST", body: { name: name.trim(), role, password } }).then(
      () => {
        setName("");
        setPassword("");
        onMade();
      },
      (error: unknown) => setRefusal(asRefusal(error)),
    );
  };
  return (
    <form onSubmit={add} autocomplete="off">
      <div class="two-fields">
        <label class="field">
          <span>Name of the operator</span>
          <input value={name} required autocomplete="off" onInput={(event) => setName(event.currentTarget.value)} />
        </label>
        <label class="field">
          <span>What the operator may do</span>
          <select value={role} onChange={(event) => setRole(event.currentTarget.value)}>
            <option value="view">look</option>
            <option value="operate">start, stop, enrol, and let others in</option>
          </select>
        </label>
        <label class="field">
          <span>First password, 10 letters or more</span>
          <input
            type="password"
            value={password}
            required
            minLength={10}
            autocomplete="new-password"
            onInput={(event) => setPassword(event.currentTarget.value)}
          />
        </label>
      </div>
      <button type="submit" class="press">
        Add the operator
      </button>
      {refusal !== null && <RefusalNote refusal={refusal} />}
    </form>
  );
}
