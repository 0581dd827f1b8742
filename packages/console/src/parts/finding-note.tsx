import { wordOf } from "@dyetrace/picture";
import { findingKindFacts, type RunReport } from "@dyetrace/wire";

type Finding = RunReport["findings"][number];

/** A finding as a note beside the map. */
export function FindingNote(props: {
  readonly finding: Finding;
  /** Where its evidence stands. */
  readonly href: string;
  /** Where it is shown on the map. */
  readonly showHref: string;
  /** The address names this finding. */
  readonly isShown: boolean;
}) {
  const { finding } = props;
  return (
    <article class={`finding-note${props.isShown ? " is-shown" : ""}`}>
      <FindingHead finding={finding} />
      <h3>{finding.title}</h3>
      <Suspects finding={finding} />
      <p class="small">
        <a href={props.showHref} aria-current={props.isShown ? "true" : undefined}>
          Show it on the map
        </a>{" "}
        · <a href={props.href}>evidence, and what to look at</a>
      </p>
    </article>
  );
}

export function FindingHead({ finding }: { readonly finding: Finding }) {
  return (
    <p class="finding-head">
      <span class="tag" title={findingKindFacts(finding.kind).meaning}>
        {wordOf(finding)}
      </span>
      {finding.streams.length > 0 && <span class="water">{finding.streams.slice(0, 3).join(", ")}</span>}
      <span class="soft small">confidence {Math.round(finding.confidence * 100)} %</span>
    </p>
  );
}

export function Suspects({ finding }: { readonly finding: Finding }) {
  const { suspects } = finding;
  if (suspects.length === 0) return <p class="small">No suspect can be named.</p>;
  return (
    <div class="small suspects">
      <span>{suspects.length === 1 ? "Suspect" : "Suspects, the likeliest first"}</span>
      <ol>
        {suspects.map((suspect) => (
          <li key={suspect}>
            <code>{suspect}</code>
          </li>
        ))}
      </ol>
    </div>
  );
}
