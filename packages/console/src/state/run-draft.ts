import type { UserFile } from "@dyetrace/wire";
import { signal } from "@preact/signals";

/** The run that is being put together; kept while other pages are looked at. */
export interface RunDraft {
  /** File name of the shipped scenario, or null for one of the user's own. */
  readonly shipped: string | null;
  readonly own: UserFile;
  /** By scenario file, the values set in its form. */
  readonly values: Readonly<Record<string, Readonly<Record<string, string>>>>;
  /** Agents keep headers of its packets. */
  readonly keepsHeaders: boolean;
}

export const runDraft = signal<RunDraft>({
  shipped: "reach.yaml",
  own: { file: "scenario.yaml", text: "" },
  values: {},
  keepsHeaders: false,
});
