/** A fault as its form has it. */
export interface FaultDraft {
  readonly fault: string;
  readonly on: string;
  /** By name, as written; empty ones are left out. */
  readonly values: Readonly<Record<string, string>>;
}

/** @returns a fault file with this one fault; JSON is YAML */
export function faultFileOf({ fault, on, values }: FaultDraft): string {
  const set = Object.entries(values).filter(([, value]) => value.trim() !== "");
  const entry = { fault, on, ...Object.fromEntries(set.map(([name, value]) => [name, scalarOf(value.trim())])) };
  return `faults:\n  - ${JSON.stringify(entry)}\n`;
}

/** A number, `true` and `false` are themselves; everything else is text. */
const scalarOf = (text: string): string | number | boolean =>
  /^[0-9]+$/.test(text) ? Number(text) : text === "true" || text === "false" ? text === "true" : text;
