import type { DeltaLayout, SiteMapProps } from "@dyetrace/picture";
import {
  channelWidth,
  describeHostWater,
  findNode,
  foldedNodes,
  layOutDelta,
  nodesAbove,
  placeFlags,
  textWidth,
} from "@dyetrace/picture";
import { markDistance } from "@dyetrace/picture/shapes/channel-marks";
import { MapChannels, movingWater } from "@dyetrace/picture/shapes/map-channels";
import { flagWidth, MapFlag } from "@dyetrace/picture/shapes/map-flag";
import { MapLanes } from "@dyetrace/picture/shapes/map-lanes";
import { MapPlace } from "@dyetrace/picture/shapes/map-place";
import type { VNode } from "preact";
import { useEffect, useMemo, useRef, useState } from "preact/hooks";
import { dragging } from "./drag-map.ts";
import { FlowCanvas } from "./flow-canvas.tsx";
import { MapTools, SEARCHED_NODES } from "./map-tools.tsx";
import { centreOn, fitView, type MapView, zoomView } from "./map-view.ts";
import { NARROW, useSize } from "./use-size.ts";

/** Below this scale names would be smaller than anyone can read. */
const NAMES_FROM_SCALE = 0.62;
/** Sites with more nodes begin with what is quiet folded up on a narrow screen. */
const FOLD_ABOVE_NODES = 60;

export function SiteMap(props: SiteMapProps) {
  const { tree, channels, hosts, marks, selection } = props;
  const frame = useRef<HTMLDivElement>(null);
  const size = useSize(frame);
  const isNarrow = size !== null && size.width < NARROW;
  const [folds, setFolds] = useState<ReadonlyMap<string, boolean>>(new Map());
  const folded = useMemo(
    () =>
      foldedNodes(
        tree,
        folds,
        props.isExcerpt === true ? "all" : isNarrow && tree.byName.size > FOLD_ABOVE_NODES ? "deep" : "none",
        marks,
      ),
    [tree, folds, isNarrow, marks, props.isExcerpt],
  );
  const layout = useMemo(
    () => (size === null ? null : layOutDelta(tree, { ...size, folded, measure: labelWidth })),
    [tree, folded, size?.width, size?.height],
  );
  const [moved, setMoved] = useState<MapView | null>(null);
  const fitted =
    layout === null || size === null
      ? null
      : isNarrow
        ? narrowView(layout, size)
        : fitView(layout, props.isExcerpt === true ? size : aboveTools(size));
  const view = isNarrow ? fitted : (moved ?? fitted);
  useEffect(() => setMoved(null), [tree]);
  const isDrawn = layout !== null;
  useEffect(() => {
    // For whoever measures how long the first picture takes: the frame after this one shows it.
    if (isDrawn) requestAnimationFrame(() => requestAnimationFrame(() => performance.mark("map-drawn")));
  }, [isDrawn]);
  const tabStop =
    selection !== null && layout?.places.has(selection.node) === true ? selection.node : tree.root.node.name;
  const [search, setSearch] = useState("");

  // Every second brings new figures, and mostly the same picture: it is drawn anew only where it differs.
  const waters = layout === null ? "" : picture(layout, props);
  const flows = useMemo(
    () => (layout === null || !props.isMoving ? [] : movingWater(layout, props)),
    [layout, waters, marks, props.isMoving],
  );
  const drawnChannels = useMemo(
    () => (layout === null ? null : <MapChannels {...props} layout={layout} />),
    [layout, waters, marks, selection],
  );
  const drawnPlaces = useRef(new Map<string, { readonly of: readonly unknown[]; readonly drawn: VNode }>());

  const suspected = new Set(marks.flatMap((mark) => mark.suspects.map((one) => one.node)));

  const [sought, setSought] = useState<string | null>(null);
  const fold = (names: readonly string[], isFolded: boolean): void =>
    setFolds((all) => new Map([...all, ...names.map((name) => [name, isFolded] as const)]));
  const find = (text: string): void => {
    setSearch(text);
    const name = findNode(tree, text);
    setSought(name);
    if (name === null) return;
    fold(
      nodesAbove(tree, name).filter((above) => folded.has(above)),
      false,
    );
    props.onSelect({ node: name, on: "node" });
  };
  useEffect(() => {
    const place = sought === null ? undefined : layout?.places.get(sought);
    if (place === undefined || view === null || size === null) return;
    if (isNarrow) frame.current?.querySelector(`[data-node="${place.name}"]`)?.scrollIntoView({ block: "center" });
    else setMoved(centreOn({ ...view, scale: Math.max(view.scale, 1) }, place, size));
  }, [sought, layout]);
  const showAll = (): void => {
    setSought(null);
    setMoved(null);
  };
  const branch = selection === null ? undefined : tree.byName.get(selection.node);

  return (
    <div
      class={`map-frame${view !== null && view.scale < NAMES_FROM_SCALE ? " map-names-hidden" : ""}`}
      ref={frame}
      style={
        isNarrow && layout !== null
          ? {
              height: `${layout.height * (view?.scale ?? 1) + (tree.byName.size > SEARCHED_NODES ? TOOLS_HEIGHT : 0)}px`,
              touchAction: "pan-y",
            }
          : undefined
      }
      {...(isNarrow || view === null || props.isExcerpt === true ? {} : dragging(view, setMoved, frame))}
    >
      {layout !== null && view !== null && (
        <>
          {/* biome-ignore lint/a11y/useSemanticElements: HTML has no element that groups the parts of a drawing */}
          <svg
            role="group"
            aria-label={props.name}
            viewBox={viewBoxOf(size, layout, view)}
            preserveAspectRatio="xMinYMin meet"
          >
            <g transform={`matrix(${view.scale} 0 0 ${view.scale} ${view.x} ${view.y})`}>
              <MapLanes tree={tree} layout={layout} />
              {drawnChannels}
              {[...layout.places.values()].map((place) => {
                const node = tree.byName.get(place.name);
                if (node === undefined) return null;
                const channel = channels.get(place.name)?.water ?? "closed";
                const host = hosts.get(place.name) ?? null;
                const isSelected = selection?.node === place.name;
                const isTabStop = place.name === tabStop;
                const isNamedAlways = node.parent === null || suspected.has(place.name);
                const of = [
                  place,
                  node,
                  channel,
                  host === null ? null : describeHostWater(host),
                  isSelected,
                  isTabStop,
                  isNamedAlways,
                  tree,
                ];
                const before = drawnPlaces.current.get(place.name);
                if (before?.of.every((value, index) => value === of[index]) === true) return before.drawn;
                const drawn = (
                  <MapPlace
                    key={place.name}
                    place={place}
                    node={node}
                    water={channel}
                    host={host}
                    isNamedAlways={isNamedAlways}
                    isSelected={isSelected}
                    isTabStop={isTabStop}
                    tree={tree}
                    onSelect={props.onSelect}
                    onFold={() => fold([place.name], !folded.has(place.name))}
                  />
                );
                drawnPlaces.current.set(place.name, { of, drawn });
                return drawn;
              })}
              {placeFlags(marks, layout, {
                scale: view.scale,
                width: flagWidth,
                nameWidth: textWidth,
                markAt: markDistance,
              }).map((flag) => (
                <MapFlag key={flag.mark.index} flag={flag} scale={view.scale} onSelect={props.onSelect} />
              ))}
            </g>
          </svg>
          <FlowCanvas flows={flows} view={view} />
        </>
      )}
      {props.isExcerpt !== true && (
        <MapTools
          tree={tree}
          search={search}
          isFound={sought !== null}
          onSearch={find}
          selected={branch ?? null}
          folded={folded}
          onFold={(name) => fold([name], !folded.has(name))}
          onZoom={
            isNarrow || view === null || size === null ? null : (by) => setMoved(zoomView(view, by, middle(size)))
          }
          onShowAll={showAll}
        />
      )}
    </div>
  );
}

/** As large as its frame: on paper, where the frame has another size, the picture shrinks with it. */
const viewBoxOf = (size: { width: number; height: number } | null, layout: DeltaLayout, view: MapView): string =>
  `0 0 ${size?.width ?? layout.width} ${size === null || size.height === 0 ? layout.height * view.scale : size.height}`;

/** A deep tree is drawn a little smaller, as long as its names can be read. */
const LEAST_NARROW_SCALE = 0.82;
const narrowView = (layout: DeltaLayout, { width }: { readonly width: number }): MapView => ({
  scale: Math.min(1, Math.max(LEAST_NARROW_SCALE, width / layout.width)),
  x: 0,
  y: 0,
});

/** The tools stand below the map, not on it. */
const TOOLS_HEIGHT = 52;
const aboveTools = ({ width, height }: { readonly width: number; readonly height: number }) => ({
  width,
  height: Math.max(1, height - TOOLS_HEIGHT),
});

const middle = (size: { width: number; height: number }): { x: number; y: number } => ({
  x: size.width / 2,
  y: size.height / 2,
});

/** Everything that decides how the channels look, as one text to compare. */
const picture = (layout: DeltaLayout, { channels, rateBps }: SiteMapProps): string =>
  [...layout.places.keys()]
    .map((name) => {
      const channel = channels.get(name);
      const told = `${channel?.water}${channel?.isFirst === true ? "!" : ""}${channel?.isWayUnknown === true ? "?" : ""}`;
      return `${told}${channelWidth(rateBps(name))}`;
    })
    .join(" ");

/** A reading such as `5.44 % lost` may stand below a short name. */
const READING_WIDTH = 70;
const labelWidth = (name: string): number => Math.max(READING_WIDTH, textWidth(name));
