import type { MapSelection, SiteScene, SiteTree } from "@dyetrace/picture";
import { describeChannel, describeHostWater, formatMs, orUnknown } from "@dyetrace/picture";
import type { SiteGraph } from "@dyetrace/site";
import { formatCount, formatRateBps, formatRatio, movedCounters, partialWords } from "@dyetrace/wire";
import type { LiveFigures } from "@dyetrace/wire/console/live-second";
import { history, isRunning } from "../state/console-state.ts";
import type { RunView, ViewedStream } from "../state/run-view.ts";
import { sayCopies, sayLongestGap, sayOrder, sayPattern, sayVariation } from "./delivery-figures.tsx";
import { OF_HOST_WORDS, sayLost } from "./followed-words.ts";

interface PlaceNoteProps {
  readonly selection: MapSelection;
  readonly tree: SiteTree;
  readonly scene: SiteScene;
  readonly graph: SiteGraph;
  readonly view: RunView | null;
  readonly stream: ViewedStream | null;
  readonly onClose: () => void;
}

/** The figures of the node or segment that was clicked. */
export function PlaceNote({ selection, tree, scene, graph, view, stream, onClose }: PlaceNoteProps) {
  const place = tree.byName.get(selection.node);
  if (place === undefined) return null;
  const isSegment = selection.on === "channel" && place.segmentId !== null;
  const id = isSegment ? (place.segmentId ?? "") : place.node.name;
  const water = scene.channels.get(selection.node)?.water ?? "closed";
  const host = scene.hosts.get(selection.node) ?? null;
  const state = view?.report?.segments.find((segment) => segment.id === id) ?? null;
  const speedBps = isSegment ? (graph.segments.get(id)?.link.speedBps ?? null) : null;
  const receipt =
    stream === null
      ? undefined
      : view?.report?.receipts.find((one) => one.stream === stream.name && one.listener === place.node.agent);
  const partial = receipt === undefined ? null : partialWords(receipt);
  const hosts = isSegment ? [] : (view?.report?.hosts ?? []);
  const counted = hosts.filter(({ agent }) => agent === place.node.agent).flatMap(movedCounters);
  const strip =
    stream === null || place.node.agent === null ? null : history.strip(place.node.agent, streamIdOf(view, stream));
  const live = isRunning.value ? (strip?.last ?? null) : null;
  const isOfHost = !isSegment && (receipt === undefined ? strip?.isOfHost === true : receipt.isOfHost === true);
  return (
    <section class="place-note" aria-live="polite">
      <div class="place-head">
        <h2>{isSegment ? <code>{id}</code> : id}</h2>
        <button type="button" class="press small" onClick={onClose}>
          Close
        </button>
      </div>
      <dl class="figures">
        {!isSegment && (
          <Figure of="is">
            {place.node.kind}
            {place.node.isQuerier ? ", querier" : ""}
          </Figure>
        )}
        {stream !== null && !isSegment && host !== null && <Figure of="here">{describeHostWater(host)}</Figure>}
        {isOfHost && <Figure of="joined">{OF_HOST_WORDS}</Figure>}
        {stream !== null && (isSegment || host === null) && <Figure of="water">{describeChannel(water)}</Figure>}
        {isSegment && (
          <Figure of="speed">{speedBps === null ? "the plan does not say" : formatRateBps(speedBps)}</Figure>
        )}
        {state !== null && (
          <Figure of="loss here">
            {state.lossRatio !== null
              ? `${formatRatio(state.lossRatio)} (${orUnknown(state.low, formatRatio)} to ${orUnknown(state.high, formatRatio)})`
              : state.high !== null
                ? `at most ${formatRatio(state.high)}`
                : "this run cannot tell"}
          </Figure>
        )}
        {receipt !== undefined && (
          <>
            <Figure of="received">
              {orUnknown(receipt.received, formatCount)} of {orUnknown(receipt.sent, formatCount)}
              {partial === null ? "" : ` (${partial})`}
            </Figure>
            <Figure of="lost">
              {orUnknown(receipt.lost, formatCount)}
              {receipt.hostLost !== null && receipt.hostLost > 0
                ? `, ${formatCount(receipt.hostLost)} in the host itself`
                : ""}
            </Figure>
            <Figure of="longest gap">{sayLongestGap(receipt)}</Figure>
            <Figure of="jitter">{orUnknown(receipt.jitterMs, formatMs)}</Figure>
            {receipt.delayVariation !== undefined && (
              <>
                <Figure of="delay varies by">{sayVariation(receipt)}</Figure>
                <Figure of="out of order">{sayOrder(receipt)}</Figure>
                <Figure of="copies">{sayCopies(receipt)}</Figure>
                <Figure of="loss periods">{sayPattern(receipt)}</Figure>
              </>
            )}
            <Figure of="join delay">{orUnknown(receipt.joinDelayMs, formatMs)}</Figure>
          </>
        )}
        {counted.length > 0 && (
          <Figure of="host counted">
            {counted.map(([words, count]) => `${words}: ${formatCount(count)}`).join("; ")}
          </Figure>
        )}
        {live !== null && <LiveFigureList figures={live} />}
      </dl>
      <p class="small soft">
        {place.segmentId !== null && !isSegment && "S shows the segment that leads here. "}
        {place.children.length > 0 && "A double click, or F, folds up what is below."}
      </p>
    </section>
  );
}

const streamIdOf = (view: RunView | null, { name }: ViewedStream): number =>
  view?.live?.outline.streams.find((stream) => stream.name === name)?.streamId ?? -1;

function LiveFigureList({ figures }: { readonly figures: LiveFigures }) {
  return (
    <>
      <Figure of="rate now">{formatRateBps(figures.rateBps)}</Figure>
      <Figure of="lost, last second">{sayLost(figures)}</Figure>
      <Figure of="jitter now">{orUnknown(figures.jitterMs, formatMs)}</Figure>
    </>
  );
}

export function Figure({ of, children }: { readonly of: string; readonly children: preact.ComponentChildren }) {
  return (
    <>
      <dt>{of}</dt>
      <dd>{children}</dd>
    </>
  );
}
