import {
  channelWidth,
  type DeltaLayout,
  findNode,
  type NodePlace,
  nodesAbove,
  type PlaceLabel,
  placeFlags,
  type SiteMapProps,
  scaleStep,
} from "@dyetrace/picture";
import { markDistance } from "@dyetrace/picture/shapes/channel-marks";
import { MapChannels, movingWater } from "@dyetrace/picture/shapes/map-channels";
import { flagWidth, MapFlag } from "@dyetrace/picture/shapes/map-flag";
import { MapLanes } from "@dyetrace/picture/shapes/map-lanes";
import { placeLabel } from "@dyetrace/picture/shapes/place-shape";
import { useEffect, useMemo, useRef, useState } from "preact/hooks";
import { dragging } from "./drag-map.ts";
import { FlowCanvas } from "./flow-canvas.tsx";
import { HOST_NAMES_FROM_SCALE, MapPlaces } from "./map-places.tsx";
import { MapTools, SEARCHED_NODES } from "./map-tools.tsx";
import { centreOn, fitBox, fitView, type MapView, pointToKeep, seenBox, zoomView } from "./map-view.ts";
import { placesToShow } from "./places-to-show.ts";
import { useDrawnSite } from "./use-drawn-site.ts";
import { transformOf, useMapView } from "./use-map-view.ts";
import { NARROW, useSize } from "./use-size.ts";

/** The site as a map that is moved, zoomed, folded and walked through. */
export function SiteMap(props: SiteMapProps) {
  const { tree, marks, selection } = props;
  const frame = useRef<HTMLDivElement>(null);
  const size = useSize(frame);
  const isNarrow = size !== null && size.width < NARROW;
  const drawn = useDrawnSite(props, size);
  const { layout, folded } = drawn;
  const control = useMapView(frame);
  const fitted =
    layout === null || size === null ? null : isNarrow ? narrowView(layout, size) : fitView(layout, aboveTools(size));
  const view = isNarrow ? fitted : (control.moved ?? fitted);
  const isDrawn = layout !== null;
  useEffect(() => {
    // For whoever measures how long the first picture takes: the frame after this one shows it.
    if (isDrawn) requestAnimationFrame(() => requestAnimationFrame(() => performance.mark("map-drawn")));
  }, [isDrawn]);
  const [search, setSearch] = useState("");

  // Every second brings new figures, and mostly the same picture: it is drawn anew only where it differs.
  const { scene } = drawn;
  const picture = useMemo(
    () => ({ ...props, tree: drawn.tree, channels: scene.channels, hosts: scene.hosts }),
    [props, drawn.tree, scene],
  );
  const waters = layout === null ? "" : pictureText(layout, picture);
  const flows = useMemo(
    () => (layout === null || !props.isMoving ? [] : movingWater(layout, picture)),
    [layout, waters, marks, props.isMoving],
  );
  const isFar = view !== null && view.scale < FAR_BELOW_SCALE;
  const drawnChannels = useMemo(
    () => (layout === null ? null : <MapChannels {...picture} layout={layout} isFar={isFar} />),
    [layout, waters, marks, selection, isFar, props.rests],
  );

  const [sought, setSought] = useState<string | null>(null);
  const unfold = (name: string): void =>
    drawn.fold(
      nodesAbove(tree, name).filter((above) => folded.has(above)),
      false,
    );
  const find = (text: string): void => {
    setSearch(text);
    const name = findNode(tree, text);
    setSought(name);
    if (name === null) return;
    unfold(name);
    props.onSelect({ node: name, on: "node" });
  };
  const isWide = !isNarrow && size !== null && view !== null;
  useEffect(() => {
    const place = sought === null ? undefined : layout?.places.get(sought);
    if (place === undefined || view === null || size === null) return;
    if (isWide) control.settle(centreOn({ ...view, scale: Math.max(view.scale, 1) }, place, size));
    else frame.current?.querySelector(`[data-node="${place.name}"]`)?.scrollIntoView({ block: "center" });
  }, [sought, layout]);
  // Shown once for each time that it is asked for: whoever moves the map on is not brought back.
  const isNew = useRef<unknown>(null);
  const mark = marks.find(({ index }) => index === props.shown);
  useEffect(() => {
    if (size === null || layout === null) return;
    const asked = `${tree.root.node.name} ${props.shown ?? ""} ${mark?.node ?? ""}`;
    if (isNew.current === asked) return;
    const isFirst = isNew.current === null;
    isNew.current = asked;
    if (mark === undefined) control.settle(null);
    else if (isWide) control.settle(fitBox(placesToShow(mark, drawn.tree, layout), aboveTools(size)));
    else if (!isFirst) frame.current?.querySelector(`[data-node="${mark.node}"]`)?.scrollIntoView({ block: "center" });
  }, [tree, layout, props.shown, mark?.node]);
  const showAll = (): void => {
    setSought(null);
    control.settle(null);
  };
  const step = view === null ? 1 : scaleStep(view.scale);
  const seen = isNarrow || view === null || size === null ? null : seenBox(view, size);
  const labelOf = (place: NodePlace): PlaceLabel | null => {
    const node = drawn.tree.byName.get(place.name);
    if (node === undefined || (node.node.kind === "host" && step < HOST_NAMES_FROM_SCALE)) return null;
    const host = scene.hosts.get(place.name) ?? null;
    return placeLabel(place, { node, host, reading: drawn.readings.get(place.name) ?? null });
  };
  const flags = useMemo(
    () =>
      layout === null
        ? []
        : placeFlags(marks, layout, { scale: step, width: flagWidth, label: labelOf, markAt: markDistance }),
    [marks, layout, step],
  );

  return (
    <div
      class="map-frame"
      ref={frame}
      style={
        isNarrow && layout !== null
          ? {
              height: `${layout.height * (view?.scale ?? 1) + (tree.byName.size > SEARCHED_NODES ? TOOLS_HEIGHT : 0) + (drawn.isLarge ? TOOLS_HEIGHT : 0)}px`,
              touchAction: "pan-y",
            }
          : undefined
      }
      {...(isNarrow || view === null ? {} : dragging(control, view, frame))}
    >
      {layout !== null && view !== null && (
        <>
          <div class="map-ground" style={{ "--map-place": transformOf(view, view.scale) }}>
            {/* biome-ignore lint/a11y/useSemanticElements: HTML has no element that groups the parts of a drawing */}
            <svg
              role="group"
              aria-label={props.name}
              viewBox={`0 0 ${layout.width} ${layout.height}`}
              style={{
                "--map-width": `${layout.width * view.scale}px`,
                "--map-height": `${layout.height * view.scale}px`,
              }}
            >
              <MapLanes tree={tree} layout={layout} />
              {drawnChannels}
              <MapPlaces {...props} drawn={drawn} scale={step} seen={seen} />
              {flags.map((flag) => (
                <MapFlag key={flag.mark.index} flag={flag} scale={step} onSelect={props.onSelect} />
              ))}
            </svg>
          </div>
          <FlowCanvas flows={flows} view={view} isPaused={control.isMoving} />
        </>
      )}
      <MapTools
        tree={tree}
        search={search}
        isFound={sought !== null}
        onSearch={find}
        selected={selection === null ? null : (tree.byName.get(selection.node) ?? null)}
        drawn={drawn}
        onZoom={
          isNarrow || view === null || size === null
            ? null
            : (by) => {
                const now = control.now(view);
                const about = layout?.places.get(selection?.node ?? mark?.node ?? "");
                control.settle(zoomView(now, by, pointToKeep(now, about, size)));
              }
        }
        onShowAll={showAll}
      />
    </div>
  );
}

/** Smaller than this an outlet's channel is too thin to point at. */
const FAR_BELOW_SCALE = 0.3;

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

/** Everything that decides how the channels look, as one text to compare. */
const pictureText = (layout: DeltaLayout, { channels, rateBps }: SiteMapProps): string =>
  [...layout.places.keys()]
    .map((name) => {
      const channel = channels.get(name);
      const told = `${channel?.water}${channel?.isFirst === true ? "!" : ""}${channel?.isWayUnknown === true ? "?" : ""}`;
      return `${told}${channelWidth(rateBps(name))}`;
    })
    .join(" ");
