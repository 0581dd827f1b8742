import { formatRateBps } from "@dyetrace/wire";
import { useMemo, useState } from "preact/hooks";
import { findingMarks } from "../map/finding-marks.ts";
import { hangUp } from "../map/layout/site-tree.ts";
import { MapKey } from "../map/map-key.tsx";
import { SiteMap } from "../map/site-map.tsx";
import type { MapSelection } from "../map/site-map-props.ts";
import { graphOf, headOf, liveScene, planScene, reportScene } from "../map/site-scene.ts";
import { FindingNote } from "../parts/finding-note.tsx";
import { PlaceNote } from "../parts/place-note.tsx";
import { RefusalNote } from "../parts/refusal-note.tsx";
import { RunNote } from "../parts/run-note.tsx";
import { history, isRunning, link, liveVersion, plan } from "../state/console-state.ts";
import { hrefTo, route } from "../state/route.ts";
import { runTimeMs } from "../state/run-clock.ts";
import { type RunView, useViewedRun, type ViewedStream } from "../state/run-view.ts";

/** The site with the run's water in it, and beside it what it means. */
export function MapPage() {
  const viewed = useViewedRun(route.value.of);
  if (viewed.kind === "refused") return <RefusalNote refusal={viewed.refusal} />;
  if (viewed.kind === "asking") return <p class="empty">Fetching the run …</p>;
  return <MapView view={viewed.kind === "run" ? viewed.view : null} />;
}

function MapView({ view }: { readonly view: RunView | null }) {
  const drawing = view?.drawing ?? plan.value?.drawing ?? null;
  const graph = useMemo(() => (drawing === null ? null : graphOf(drawing)), [drawing]);
  const [chosen, setChosen] = useState<string | null>(null);
  const [selection, setSelection] = useState<MapSelection | null>(null);
  const stream = chooseStream(view, chosen);
  const report = view?.report ?? null;
  const isCurrent = link.value.kind === "on";
  const version = liveVersion.value;
  const live = view?.live ?? null;
  const head = graph === null ? null : headOf(graph, stream?.source ?? null);
  const tree = useMemo(() => (graph === null || head === null ? null : hangUp(graph, head)), [graph, head]);
  const scene = useMemo(() => {
    if (graph === null || tree === null) return null;
    if (stream !== null && report !== null) return reportScene(graph, tree, report, stream.name);
    // While the controller is away nobody knows what flows: the plan alone is shown.
    const outlined = live?.outline.streams.find(({ name }) => name === stream?.name);
    if (outlined !== undefined && live?.failure === null && isCurrent) {
      return liveScene(tree, outlined, history, Math.floor((runTimeMs() ?? 0) / 1000));
    }
    return planScene(tree);
  }, [graph, tree, stream, report, live?.runId, live?.failure, isCurrent, version]);
  const marks = useMemo(
    () =>
      report === null || tree === null || stream === null ? [] : findingMarks(report, new Set([stream.name]), tree),
    [report, tree, stream],
  );
  if (graph === null || tree === null || scene === null) return <NoPlan />;
  const rateBps = stream?.rateBps ?? null;
  return (
    <div class="map-page">
      <section aria-label="Map" class="map-side">
        <div class="map-head">
          {stream === null ? (
            <span class="soft">No dye in it yet. {isCurrent && <a href={hrefTo("run")}>Start a run.</a>}</span>
          ) : (
            <>
              <h2 class="water">{stream.name}</h2>
              <span class="about">
                from {stream.source} to {stream.group} port {stream.port}, {formatRateBps(stream.rateBps)}
              </span>
            </>
          )}
          {view !== null && view.streams.length > 1 && stream !== null && (
            <select aria-label="Stream" value={stream.name} onChange={(event) => setChosen(event.currentTarget.value)}>
              {view.streams.map(({ name, source }) => (
                <option key={name} value={name}>
                  {name} from {source}
                </option>
              ))}
            </select>
          )}
        </div>
        <SiteMap
          name={`Map of ${graph.name}`}
          tree={tree}
          channels={scene.channels}
          hosts={scene.hosts}
          marks={marks}
          rateBps={(node) => scene.ratesBps.get(node) ?? rateBps}
          isMoving={live !== null && isRunning.value && live.stage === "running"}
          selection={selection}
          onSelect={setSelection}
        />
      </section>
      <aside class="notes" aria-label="What it means">
        {view !== null && <RunNote view={view} />}
        {selection !== null && (
          <PlaceNote
            selection={selection}
            tree={tree}
            scene={scene}
            graph={graph}
            view={view}
            stream={stream}
            onClose={() => setSelection(null)}
          />
        )}
        {report?.findings.map((finding, index) => (
          <FindingNote
            key={`${report.run} ${index}`}
            finding={finding}
            href={hrefTo("findings", route.value.of ?? undefined)}
            onShow={() => {
              const mark = marks.find((one) => one.index === index);
              if (mark !== undefined) setSelection({ node: mark.node, on: mark.on });
              else setChosen(finding.streams[0] ?? null);
            }}
          />
        ))}
        <MapKey />
      </aside>
    </div>
  );
}

/** The stream that the user chose, else the first that a finding is about, else the first. */
function chooseStream(view: RunView | null, chosen: string | null): ViewedStream | null {
  const streams = view?.streams ?? [];
  const accused = view?.report?.findings.flatMap((finding) => finding.streams)[0];
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
