import type { MapSelection } from "@dyetrace/picture";
import {
  type FindingMark,
  findingMarks,
  graphOf,
  hangUp,
  headOf,
  planScene,
  replayScene,
  reportScene,
  type SiteTree,
  wayEvidence,
} from "@dyetrace/picture";
import { MapKey } from "@dyetrace/picture/shapes/map-key";
import { formatRateBps, type RunReport } from "@dyetrace/wire";
import { useMemo } from "preact/hooks";
import { liveScene } from "../live/live-scene.ts";
import { findingOfAddress, placeInAddress, placeOfAddress } from "../map/place-in-address.ts";
import { SiteMap } from "../map/site-map.tsx";
import { Awaited } from "../parts/awaited.tsx";
import { FindingNote } from "../parts/finding-note.tsx";
import { PlaceNote } from "../parts/place-note.tsx";
import { RefusalNote } from "../parts/refusal-note.tsx";
import { RunNote } from "../parts/run-note.tsx";
import { ReplaySlider } from "../replay/replay-slider.tsx";
import { useLiveReplay } from "../replay/use-live-replay.ts";
import { useReplay } from "../replay/use-replay.ts";
import { history, isRunning, link, liveVersion, plan } from "../state/console-state.ts";
import { hrefAlong, hrefChanged, replaceAddress, route } from "../state/route.ts";
import { useRunTimeMs } from "../state/run-clock.ts";
import { type RunView, useViewedRun, type ViewedStream } from "../state/run-view.ts";

/** The site with the run's water in it, and beside it what it means. */
export function MapPage() {
  const viewed = useViewedRun(route.value.of);
  if (viewed.kind === "refused") return <RefusalNote refusal={viewed.refusal} />;
  if (viewed.kind === "asking") return <Awaited what="the run" />;
  return <MapView view={viewed.kind === "run" ? viewed.view : null} />;
}

/** The same each time: what is drawn of marks is drawn anew where they are others. */
const NO_MARKS: readonly FindingMark[] = [];

function MapView({ view }: { readonly view: RunView | null }) {
  const drawing = view?.drawing ?? plan.value?.drawing ?? null;
  // A run's drawing comes anew with each of its events and is always the same: the map must not be laid out for it again.
  const runId = view?.runId ?? null;
  const graph = useMemo(() => (drawing === null ? null : graphOf(drawing)), [runId, runId === null ? drawing : null]);
  const { query } = route.value;
  const report = view?.report ?? null;
  const named = findingOfAddress(query.get("finding"), report?.findings.length ?? 0);
  const stream = chooseStream(view, query.get("stream"), named);
  const isCurrent = link.value.kind === "on";
  const version = liveVersion.value;
  const live = view?.live ?? null;
  // What an agent said is trusted for some seconds: the picture changes also when nobody says anything more.
  const second = Math.floor((useRunTimeMs(1000) ?? 0) / 1000);
  const source = stream?.source ?? null;
  // Where the plan does not have the sender, nobody knows which way its packets go.
  const isPlaced = graph === null || source === null || headOf(graph, source) !== null;
  const head = graph === null ? null : headOf(graph, isPlaced ? source : null);
  const tree = useMemo(
    () =>
      graph === null || head === null
        ? null
        : hangUp(graph, head, report === null || stream === null ? undefined : wayEvidence(graph, report, stream.name)),
    [graph, head, report, stream?.name],
  );
  const going = report === null && live?.stage === "running" && isCurrent ? live : null;
  const replayed = useReplay(report === null ? null : report.run);
  const liveReplay = useLiveReplay(going, stream?.name ?? null, history);
  const replay = report === null ? liveReplay : replayed;
  const { told, cell } = replay;
  const scene = useMemo(() => {
    if (graph === null || tree === null) return null;
    if (!isPlaced) return planScene(tree);
    if (stream !== null && told !== null && cell !== null) return replayScene(tree, told, stream, cell);
    if (stream !== null && report !== null) return reportScene(graph, tree, report, stream.name);
    // While the controller is away nobody knows what flows: the plan alone is shown.
    const outlined = live?.outline.streams.find(({ name }) => name === stream?.name);
    if (outlined !== undefined && live?.failure === null && isCurrent) {
      return liveScene(tree, outlined, history, second);
    }
    return planScene(tree);
  }, [graph, tree, isPlaced, stream?.name, report, live?.runId, live?.failure, isCurrent, version, second, told, cell]);
  const marks = useMemo(
    () =>
      report === null || tree === null || stream === null || scene === null || cell !== null
        ? NO_MARKS
        : findingMarks(report, new Set([stream.name]), tree, scene.channels),
    [report, tree, stream?.name, scene, cell],
  );
  if (graph === null || tree === null || scene === null) return <NoPlan />;
  const rateBps = stream?.rateBps ?? null;
  const selection = placeOfAddress(query.get("place"), tree);
  const select = (next: MapSelection | null): void =>
    replaceAddress(hrefChanged("map", { place: next === null ? null : placeInAddress(next, tree) }));
  return (
    <div class="map-page">
      <section aria-label="Map" class="map-side">
        <div class="map-head">
          {stream === null ? (
            <NoDye view={view} isCurrent={isCurrent} />
          ) : (
            <>
              <h2 class="water">{stream.name}</h2>
              <span class="about">
                from {stream.source} to {stream.group} port {stream.port}
                {stream.rateBps !== null && `, ${formatRateBps(stream.rateBps)}`}
                {!isPlaced && `. ${whyNotPlaced(stream, report !== null)}`}
              </span>
            </>
          )}
          {view !== null && view.streams.length > 1 && stream !== null && (
            <select
              aria-label="Stream"
              value={stream.name}
              onChange={(event) =>
                replaceAddress(hrefChanged("map", { stream: event.currentTarget.value, finding: null }))
              }
            >
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
          isMoving={live !== null && isRunning.value && live.stage === "running" && cell === null}
          shown={named}
          selection={selection}
          onSelect={select}
        />
        {stream !== null && <ReplaySlider replay={replay} stream={stream.name} report={report} />}
      </section>
      <aside class="notes" aria-label="What it means">
        {view !== null && <RunNote view={view} />}
        {selection !== null && (
          <PlaceNote
            selection={selection}
            tree={tree}
            scene={scene}
            graph={graph}
            // What stands beside the map is of the time that the map is of.
            view={cell === null ? view : null}
            stream={stream}
            onClose={() => select(null)}
          />
        )}
        {report?.findings.map((finding, index) => (
          <FindingNote
            key={`${report.run} ${index}`}
            finding={finding}
            href={hrefChanged("findings", { finding: String(index + 1) })}
            showHref={hrefChanged("map", { ...addressOf(finding, index, marks, tree, stream) })}
            isShown={index === named}
          />
        ))}
        <MapKey />
      </aside>
    </div>
  );
}

/** Where a finding is shown: of the stream that is drawn, if it is about that one, else of its own first. */
function addressOf(
  finding: RunReport["findings"][number],
  index: number,
  marks: readonly FindingMark[],
  tree: SiteTree,
  stream: ViewedStream | null,
): Readonly<Record<string, string | null>> {
  const mark = marks.find((one) => one.index === index);
  const own = finding.streams.includes(stream?.name ?? "") ? stream?.name : finding.streams[0];
  return {
    finding: String(index + 1),
    stream: own ?? stream?.name ?? null,
    place: mark === undefined ? (finding.suspects[0] ?? null) : placeInAddress(mark, tree),
  };
}

/**
 * The stream that the address names, else the first that its finding is about, else the first that any finding is about,
 * else the first.
 */
function chooseStream(view: RunView | null, chosen: string | null, finding: number | null): ViewedStream | null {
  const streams = view?.streams ?? [];
  const findings = view?.report?.findings ?? [];
  const named = finding === null ? undefined : findings[finding]?.streams[0];
  const accused = findings.flatMap((one) => one.streams)[0];
  const find = (wanted: string | null | undefined) => streams.find(({ name }) => name === wanted);
  return find(chosen) ?? find(named) ?? find(accused) ?? streams[0] ?? null;
}

/** Where no stream can be drawn: nothing has run, or nothing was told of the run. */
function NoDye({ view, isCurrent }: { readonly view: RunView | null; readonly isCurrent: boolean }) {
  if (view !== null) return <span class="soft">The plan of this run. What it sends has not been reported.</span>;
  return <span class="soft">No dye in it yet. {isCurrent && <a href={hrefAlong("run")}>Start a run.</a>}</span>;
}

/** Of a stream of others whose way nobody knows. */
function whyNotPlaced({ rateBps }: ViewedStream, isOver: boolean): string {
  if (!isOver) return "Which way its packets go is known once its sender is.";
  return rateBps === null
    ? "Nobody saw a packet of it, so nobody knows where it comes from."
    : "The plan does not have its sender, so its way cannot be drawn; the findings have what came.";
}

function NoPlan() {
  return (
    <div class="empty">
      <p>There is no site plan here yet: nothing to draw.</p>
      <p>
        <a href={hrefAlong("plan")}>Write or paste one</a>, or start a run from the command line with{" "}
        <code>npx dyetrace run SCENARIO --site PLAN</code>.
      </p>
    </div>
  );
}
