import type { ConsoleParameter, ConsoleScenario } from "@dyetrace/wire/console/console-scenario";
import { plan } from "../state/console-state.ts";

interface ParameterFormProps {
  readonly scenario: ConsoleScenario;
  readonly values: Readonly<Record<string, string>>;
  readonly onChange: (values: Readonly<Record<string, string>>) => void;
}

/** One field for each parameter of a scenario; agents are chosen from the plan. */
export function ParameterForm({ scenario, values, onChange }: ParameterFormProps) {
  const agents = plan.value?.drawing.nodes.flatMap(({ agent }) => agent ?? []) ?? [];
  return (
    <div class="parameters">
      {scenario.parameters.map((parameter) => (
        <Parameter
          key={parameter.name}
          parameter={parameter}
          agents={agents}
          value={values[parameter.name] ?? ""}
          onChange={(value) => onChange({ ...values, [parameter.name]: value })}
        />
      ))}
    </div>
  );
}

interface ParameterProps {
  readonly parameter: ConsoleParameter;
  readonly agents: readonly string[];
  readonly value: string;
  readonly onChange: (value: string) => void;
}

function Parameter({ parameter, agents, value, onChange }: ParameterProps) {
  const note = parameter.note.replace(/; must be set(\. )?/, parameter.note.endsWith("must be set") ? "" : ". ");
  if (parameter.takes === "agents") {
    const chosen = new Set(readList(value));
    return (
      <fieldset class="agents-field">
        <legend>
          {parameter.name} <span class="soft small">{note}</span>
        </legend>
        <div>
          {agents.map((agent) => (
            <label key={agent}>
              <input
                type="checkbox"
                checked={chosen.has(agent)}
                onChange={(event) => {
                  if (event.currentTarget.checked) chosen.add(agent);
                  else chosen.delete(agent);
                  const names = agents.filter((name) => chosen.has(name));
                  onChange(names.length === 0 ? "" : `[${names.join(", ")}]`);
                }}
              />
              {agent}
            </label>
          ))}
        </div>
      </fieldset>
    );
  }
  return (
    // biome-ignore lint/a11y/noLabelWithoutControl: the control is one of the two below
    <label class="field">
      <span>
        <b>{parameter.name}</b> {note}
      </span>
      {parameter.takes === "agent" ? (
        <select value={value} onChange={(event) => onChange(event.currentTarget.value)}>
          <option value="">{parameter.value ?? "choose an agent"}</option>
          {agents.map((agent) => (
            <option key={agent} value={agent}>
              {agent}
            </option>
          ))}
        </select>
      ) : (
        <input
          value={value}
          placeholder={parameter.value ?? "must be set"}
          onInput={(event) => onChange(event.currentTarget.value)}
        />
      )}
    </label>
  );
}

const readList = (value: string): readonly string[] =>
  value
    .replace(/^\[|\]$/g, "")
    .split(",")
    .map((name) => name.trim())
    .filter((name) => name !== "");
