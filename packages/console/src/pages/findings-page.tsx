import { agentsBehind, evidenceOf, graphOf, runScene } from "@dyetrace/picture";
import { EvidenceCharts } from "@dyetrace/picture/evidence/evidence-charts";
import {
  type ExpectationWords,
  expectationWords,
  followsOthers,
  type ProbeRun,
  type RunReport,
  wifiWords,
} from "@dyetrace/wire";
import { useEffect, useMemo, useRef } from "preact/hooks";
import { FindingFacts } from "../findings/finding-facts.tsx";
import { FindingMap } from "../findings/finding-map.tsx";
import { PassWords } from "../findings/pass-words.tsx";
import { findingOfAddress } from "../map/place-in-address.ts";
import { Delays } from "../parts/delay-figures.tsx";
import { Deliveries, HostCounts } from "../parts/delivery-figures.tsx";
import { FindingHead, Suspects } from "../parts/finding-note.tsx";
import { formatClock } from "../parts/format.ts";
import { LongText } from "../parts/long-text.tsx";
import { MediaFigures } from "../parts/media-figures.tsx";
import { OfViewedRun } from "../parts/of-viewed-run.tsx";
import { QuerierTable } from "../parts/querier-table.tsx";
import { RunNote } from "../parts/run-note.tsx";
import { OfferProbe } from "../probe/probe-offer.tsx";
import { ProbeOfRun, ProbesOfFinding, useProbes } from "../probe/probe-result.tsx";
import { hrefAlong, hrefTo, route } from "../state/route.ts";
import type { RunView } from "../state/run-view.ts";

/** Every conclusion of a run with what it rests on. */
export const FindingsPage = () => (
  <OfViewedRun
    none={
      <>
        No run yet, so nothing has been found. <a href={hrefAlong("run")}>Start one</a>, or open{" "}
        <a href={hrefAlong("runs")}>an earlier run</a>.
      </>
    }
    show={(view) => <Findings key={view.runId} view={view} />}
  />
);

function Findings({ view }: { readonly view: RunView }) {
  const { report } = view;
  const probes = useProbes(view.runId);
  const graph = useMemo(() => graphOf(view.drawing), [view.drawing]);
  const named = findingOfAddress(route.value.query.get("finding"), report?.findings.length ?? 0);
  return (
    <div class="findings-page">
      <header>
        <RunNote view={view} />
        {report !== null && report.findings.length > 0 && <p>{report.reason}</p>}
        <p class="small">
          <a href={hrefTo("map", view.runId)}>The whole site on the map</a>
        </p>
      </header>
      {report?.probe !== undefined && <ProbeOfRun probe={report.probe} />}
      {report?.findings.map((_, index) => (
        <FindingCard
          key={`${report.run} ${index}`}
          report={report}
          index={index}
          graph={graph}
          probes={probes}
          isNamed={index === named}
        />
      ))}
      {report !== null && <PassWords report={report} graph={graph} />}
      {report !== null && <Promises report={report} />}
      {report !== null && <Delays report={report} />}
      {report !== null && <Deliveries report={report} />}
      {report !== null && <MediaFigures report={report} />}
      {report !== null && <HostCounts report={report} />}
      {report?.querierAudit !== undefined && <QuerierTable audits={report.querierAudit} />}
      {report !== null && wifiWords(report.wifi, report.roams).length > 0 && (
        <section class="promises">
          <h2>Over the air</h2>
          <ul class="plain">
            {wifiWords(report.wifi, report.roams).map((sentence) => (
              <li key={sentence}>{sentence}</li>
            ))}
          </ul>
        </section>
      )}
      {report !== null && report.notes.length > 0 && (
        <section class="promises">
          <h2>Notes</h2>
          <ul class="plain">
            {report.notes.map((note) => (
              <li key={note}>
                <LongText text={note} />
              </li>
            ))}
          </ul>
        </section>
      )}
    </div>
  );
}

interface FindingCardProps {
  readonly report: RunReport;
  readonly index: number;
  readonly graph: ReturnType<typeof graphOf>;
  readonly probes: readonly ProbeRun[];
  /** The address names it: it is what the reader came for. */
  readonly isNamed: boolean;
}

function FindingCard({ report, index, graph, probes, isNamed }: FindingCardProps) {
  const card = useRef<HTMLElement>(null);
  const drawn = useMemo(() => runScene(graph, report, index), [graph, report, index]);
  useEffect(() => {
    if (isNamed) card.current?.scrollIntoView({ block: "start" });
  }, [isNamed]);
  const finding = report.findings[index];
  if (finding === undefined) return null;
  return (
    <article class={`finding-card${isNamed ? " is-shown" : ""}`} ref={card}>
      <div class="finding-words">
        <FindingHead finding={finding} />
        <h2>{finding.title}</h2>
        <p class="small">
          <a href={hrefTo("map", report.run, { finding: String(index + 1) })}>Show it on the map</a>
          {" · "}
          <a href={hrefTo("story", report.run, { finding: String(index + 1) })}>Its story</a>
          {" · "}
          <a
            href={`/api/console/runs/${encodeURIComponent(report.run)}/exhibits/${index + 1}`}
            target="_blank"
            rel="noreferrer"
          >
            One picture for a ticket
          </a>
        </p>
        <Suspects finding={finding} />
        <FindingFacts graph={graph} report={report} finding={finding} drawn={drawn} />
        <ProbesOfFinding probes={probes} index={index} />
        {mayProbe(report, finding) && (
          <OfferProbe
            runId={report.run}
            index={index}
            isProbed={probes.some(({ probe }) => probe?.finding === index)}
          />
        )}
        {finding.evidence.length > 0 && (
          <>
            <h3>What it rests on</h3>
            <ul class="evidence">
              {finding.evidence.map((sentence) => (
                <li key={sentence}>{sentence}</li>
              ))}
            </ul>
          </>
        )}
        {finding.advice !== "" && (
          <>
            <h3>What to do next</h3>
            <p class="advice">{finding.advice}</p>
          </>
        )}
        {finding.reference !== "" && <p class="small soft">How it should be: {finding.reference}</p>}
      </div>
      <div class="finding-pictures">
        <FindingMap drawn={drawn} title={finding.title} />
        <EvidenceCharts
          evidence={evidenceOf(finding, report, drawn === null ? null : agentsBehind(drawn.tree, finding.suspects))}
          clock={(ms) => formatClock(new Date(Date.parse(report.startedAt) + ms))}
        />
      </div>
    </article>
  );
}

/** What the scenario expected, broken promises first. */
function Promises({ report }: { readonly report: RunReport }) {
  if (report.expectations.length === 0) return null;
  const rank = (met: boolean | null): number => (met === false ? 0 : met === null ? 1 : 2);
  const sorted = report.expectations.toSorted((a, b) => rank(a.met) - rank(b.met));
  return (
    <section class="promises">
      <h2>What was expected</h2>
      <table>
        <thead>
          <tr>
            <th scope="col">what</th>
            <th scope="col">at most</th>
            <th scope="col">measured</th>
            <th scope="col">kept</th>
          </tr>
        </thead>
        <tbody>
          {sorted.map((expectation) => (
            <tr key={`${expectation.what} ${expectation.detail}`}>
              <th scope="row">{expectation.what}</th>
              <td>{expectation.limit}</td>
              <td>{expectation.measured ?? "not measured"}</td>
              <td>
                {kept(expectationWords(expectation))}{" "}
                {expectation.detail !== "" && <span class="soft small">{expectation.detail}</span>}
              </td>
            </tr>
          ))}
        </tbody>
      </table>
    </section>
  );
}

function kept(words: ExpectationWords) {
  if (words === "met") return "yes";
  return words === "not met" ? <b>no</b> : words;
}

/** Nobody sends test traffic to the group of a stream of others. */
const mayProbe = (report: RunReport, { suspects, causes }: RunReport["findings"][number]): boolean =>
  suspects.length > 1 && causes !== undefined && !followsOthers(report);
