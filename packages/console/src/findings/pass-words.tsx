import { passProof } from "@dyetrace/picture";
import type { SiteGraph } from "@dyetrace/site";
import type { RunReport } from "@dyetrace/wire";

/** What a run without a finding rests on. */
export function PassWords({ report, graph }: { readonly report: RunReport; readonly graph: SiteGraph }) {
  if (report.findings.length > 0 || report.receipts.length === 0) return null;
  return (
    <section class="promises">
      <h2>What this verdict rests on</h2>
      <ul class="plain">
        {passProof(report, graph).map((sentence) => (
          <li key={sentence}>{sentence}</li>
        ))}
      </ul>
    </section>
  );
}
