import type { RunReport } from "@dyetrace/wire";
import { wordOf } from "../map/finding-marks.ts";

type Finding = RunReport["findings"][number];

/** A finding in words. Brief: as a note beside the map. */
export function FindingNote({ finding, isBrief }: { readonly finding: Finding; readonly isBrief: boolean }) {
  return (
    <article class="finding-note">
      <div>
        <span class="tag">{wordOf(finding)}</span>{" "}
        <span class="soft small">sure to {Math.round(finding.confidence * 100)} in 100</span>
      </div>
      <h3>{finding.title}</h3>
      <p class="small">
        {finding.suspects.length === 0 ? (
          "No suspect can be named."
        ) : (
          <>
            {finding.suspects.length === 1 ? "Suspect: " : "Suspects, the likeliest first: "}
            {finding.suspects.map((suspect, index) => (
              <>
                {index > 0 && ", "}
                <code>{suspect}</code>
              </>
            ))}
          </>
        )}
      </p>
      {isBrief ? (
        <details class="small">
          <summary>Evidence and what to look at</summary>
          <ul class="evidence">
            {finding.evidence.map((sentence) => (
              <li key={sentence}>{sentence}</li>
            ))}
          </ul>
          <p>{finding.advice}</p>
          <p class="soft">{finding.reference}</p>
        </details>
      ) : null}
    </article>
  );
}
