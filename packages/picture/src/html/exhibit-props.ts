import type { SiteGraph } from "@dyetrace/site";
import type { RunReport } from "@dyetrace/wire";

/** What an exhibit is drawn from. */
export interface ExhibitProps {
  readonly graph: SiteGraph;
  readonly report: RunReport;
  /** Position in the report's list of findings. */
  readonly index: number;
  /** When it was, on the clock of the wall, with its zone. */
  readonly when: string;
  /** Where this finding stands in the console. */
  readonly address: string;
  /** The styles of the shapes. */
  readonly style: string;
}
