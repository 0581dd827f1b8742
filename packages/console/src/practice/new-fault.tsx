import type { FaultKind } from "@dyetrace/wire/console/practice-faults";
import { useState } from "preact/hooks";
import { faultFileOf } from "./fault-file.ts";

/** After a colon; abbreviations stay as they are. */
const lowerFirst = (sentence: string): string =>
  /^[A-Z]{2}/.test(sentence) ? sentence : sentence.charAt(0).toLowerCase() + sentence.slice(1);

/** One fault is chosen, explained, placed and put in. */
export function NewFault({
  kinds,
  isBusy,
  onPut,
}: {
  readonly kinds: readonly FaultKind[];
  readonly isBusy: boolean;
  readonly onPut: (file: string) => void;
}) {
  const [name, setName] = useState(kinds[0]?.fault ?? "");
  const [place, setPlace] = useState<string | null>(null);
  const [values, setValues] = useState<Readonly<Record<string, string>>>({});
  const kind = kinds.find(({ fault }) => fault === name) ?? kinds[0];
  if (kind === undefined) return null;
  const on = place !== null && kind.places.includes(place) ? place : (kind.places[0] ?? "");
  const known = kind.parameters.map((parameter) => [parameter.name, values[parameter.name] ?? ""] as const);
  const put = (event: Event): void => {
    event.preventDefault();
    onPut(faultFileOf({ fault: kind.fault, on, values: Object.fromEntries(known) }));
  };
  return (
    <form class="new-fault" onSubmit={put}>
      <label class="field">
        <span>Fault</span>
        <select value={kind.fault} onChange={(event) => setName(event.currentTarget.value)}>
          {kinds.map(({ fault }) => (
            <option key={fault} value={fault}>
              {fault}
            </option>
          ))}
        </select>
      </label>
      <p>
        {kind.does} <span class="soft">On a real site: {lowerFirst(kind.stands)}</span>
      </p>
      <div class="two-fields">
        <label class="field">
          <span>Place</span>
          <select value={on} onChange={(event) => setPlace(event.currentTarget.value)}>
            {kind.places.map((one) => (
              <option key={one} value={one}>
                {one}
              </option>
            ))}
          </select>
        </label>
        {kind.parameters.map(({ name: key, example, isNeeded }) => (
          <label key={key} class="field">
            <span>
              <b>{key}</b> {isNeeded ? "" : "optional, "}such as {example}
            </span>
            <input
              value={values[key] ?? ""}
              required={isNeeded}
              onInput={(event) => setValues({ ...values, [key]: event.currentTarget.value })}
            />
          </label>
        ))}
      </div>
      <button type="submit" class="press pours" disabled={isBusy}>
        {isBusy ? "Changing the site …" : "Put the fault in"}
      </button>
    </form>
  );
}
