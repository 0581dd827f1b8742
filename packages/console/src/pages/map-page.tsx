import { formatRateBps } from "@dyetrace/wire";
import { useMemo, useState } from "preact/hooks";
import type { ConsoleRun } from "../console-api.ts";
import { findingMarks } from "../map/finding-marks.ts";
import { MapKey } from "../map/map-key.tsx";
import { type MapSelection, SiteMap } from "../map/site-map.tsx";
import { firstHead, graphOf, liveScene, planScene, reportScene } from "../map/site-scene.ts";
import { FindingNote } from "../parts/finding-note.tsx";
import { PlaceNote } from "../parts/place-note.tsx";
import { RunNote } from "../parts/run-note.tsx";
import { hrefTo } from "../route.ts";
import { history, isRunning, link, liveVersion, plan, run } from "../state/console-state.ts";
import { runTimeMs } from "../state/run-clock.ts";

/** The site with the run's water in it, and beside it what it means. */
export function MapPage() {
  const current = run.value;
  const drawing = current?.drawing ?? plan.value?.drawing ?? null;
  const graph = useMemo(() => (drawing === null ? null : graphOf(drawing)), [drawing]);
  const [chosen, setChosen] = useState<string | null>(null);
  const [selection, setSelection] = useState<MapSelection | null>(null);
  const stream = chooseStream(current, chosen);
  const report = current?.report ?? null;
  const isCurrent = link.value.kind === "on";
  const version = liveVersion.value;
  const scene = useMemo(() => {
    if (graph === null) return null;
    if (stream !== null && report !== null) return reportScene(graph, report, stream.name);
    // While the controller is away nobody knows what flows: the plan alone is shown.
    if (stream !== null && current !== null && current.failure === null && isCurrent) {
      return liveScene(graph, stream, history, Math.floor((runTimeMs() ?? 0) / 1000));
    }
    const head = stream?.source ?? firstHead(graph);
    return head === null ? null : planScene(graph, head);
  }, [graph, stream, report, current?.runId, current?.failure, isCurrent, version]);
  const marks = useMemo(
    () =>
      report === null || scene === null || stream === null
        ? []
        : findingMarks(report, new Set([stream.name]), scene.tree),
    [report, scene, stream],
  );
  if (graph === null || scene === null) return <NoPlan />;
  const rateBps = stream?.rateBps ?? null;
  return (
    <div class="map-page">
      <section aria-label="Map">
        <div class="map-head">
          {stream === null ? (
            <span class="soft">Nothing has been poured yet.</span>
          ) : (
            <>
              <span class="water">{stream.name}</span>
              <span class="about">
                from {stream.source} to {stream.group} port {stream.port}, {formatRateBps(stream.rateBps)}
              </span>
            </>
          )}
          {current !== null && current.outline.streams.length > 1 && stream !== null && (
            <select aria-label="Stream" value={stream.name} onChange={(event) => setChosen(event.currentTarget.value)}>
              {current.outline.streams.map(({ name, source }) => (
                <option key={name} value={name}>
                  {name} from {source}
                </option>
              ))}
            </select>
          )}
        </div>
        <SiteMap
          name={`Map of ${graph.name}`}
          tree={scene.tree}
          channels={scene.channels}
          hosts={scene.hosts}
          marks={marks}
          rateBps={() => rateBps}
          isMoving={isRunning.value && current?.stage === "running"}
          selection={selection}
          onSelect={setSelection}
        />
      </section>
      <aside class="notes" aria-label="What it means">
        {current !== null && <RunNote run={current} />}
        {selection !== null && (
          <PlaceNote
            selection={selection}
            scene={scene}
            graph={graph}
            run={current}
            stream={stream}
            onClose={() => setSelection(null)}
          />
        )}
        {report?.findings.map((finding, index) => (
          <FindingNote key={`${report.run} ${index}`} finding={finding} isBrief={true} />
        ))}
        <MapKey />
      </aside>
    </div>
  );
}

type Stream = ConsoleRun["outline"]["streams"][number];

/** The stream that the user chose, else the first that a finding is about, else the first. */
function chooseStream(current: ConsoleRun | null, chosen: string | null): Stream | null {
  const streams = current?.outline.streams ?? [];
  const accused = current?.report?.findings.flatMap((finding) => finding.streams)[0];
  return (
    streams.find(({ name }) => name === chosen) ?? streams.find(({ name }) => name === accused) ?? streams[0] ?? null
  );
}

function NoPlan() {
  return (
    <div class="empty">
      <p>There is no site plan here yet: nothing to draw.</p>
      <p>
        <a href={hrefTo("plan")}>Write or paste one</a>, or start a run from the command line with{" "}
        <code>npx dyetrace run SCENARIO --site PLAN</code>.
      </p>
    </div>
  );
}
