import type { VNode } from "preact";
import { useEffect, useLayoutEffect, useMemo, useRef, useState } from "preact/hooks";
import { ChannelMark, DammedDye, markDistance, ThinningDye } from "./channel-marks.tsx";
import type { Channel, ChannelWater } from "./channel-water.ts";
import { type DeltaLayout, layOutDelta, type NodePlace } from "./delta-layout.ts";
import type { FindingMark, Glyph } from "./finding-marks.ts";
import { type Flow, FlowCanvas } from "./flow-canvas.tsx";
import { channelWidth, cut, pathOf, spotAt } from "./geometry.ts";
import type { HostWater } from "./host-water.ts";
import { centreOn, fitView, type MapView, zoomView } from "./map-view.ts";
import { NodeShape } from "./node-shape.tsx";
import { FLAG_HEIGHT, type PlacedFlag, placeFlags } from "./place-flags.ts";
import { describeHostWater } from "./say-water.ts";
import type { SiteTree, TreeNode } from "./site-tree.ts";
import { textWidth } from "./text-width.ts";

export interface MapSelection {
  readonly node: string;
  readonly on: "node" | "channel";
}

export interface SiteMapProps {
  readonly tree: SiteTree;
  readonly channels: ReadonlyMap<string, Channel>;
  readonly hosts: ReadonlyMap<string, HostWater>;
  readonly marks: readonly FindingMark[];
  /** UDP payload bits per second in a channel that flows; null where nobody said. */
  readonly rateBps: (node: string) => number | null;
  /** Water moves only while it is known to. */
  readonly isMoving: boolean;
  /** Show the way to the marks alone: everything else is folded up, and nothing can be moved. */
  readonly isExcerpt?: boolean;
  readonly selection: MapSelection | null;
  readonly onSelect: (selection: MapSelection | null) => void;
  readonly name: string;
}

/** Below this scale names would be smaller than anyone can read. */
const NAMES_FROM_SCALE = 0.62;
/** Sites with more nodes begin with what is quiet folded up on a narrow screen. */
const FOLD_ABOVE_NODES = 60;
const NARROW = 640;

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
        props.isExcerpt === true ? "all" : isNarrow && tree.root.size > FOLD_ABOVE_NODES ? "deep" : "none",
        marks,
      ),
    [tree, folds, isNarrow, marks, props.isExcerpt],
  );
  const layout = useMemo(
    () => (size === null ? null : layOutDelta(tree, { ...size, folded, measure: labelWidth })),
    [tree, folded, size?.width, size?.height],
  );
  const [moved, setMoved] = useState<MapView | null>(null);
  const fitted = layout === null || size === null ? null : isNarrow ? { scale: 1, x: 0, y: 0 } : fitView(layout, size);
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
    () => (layout === null ? null : <Channels {...props} layout={layout} />),
    [layout, waters, marks, selection],
  );
  const drawnPlaces = useRef(new Map<string, { readonly of: readonly unknown[]; readonly drawn: VNode }>());

  const suspected = new Set(marks.flatMap((mark) => mark.suspects.map((one) => one.node)));

  const find = (text: string): void => {
    setSearch(text);
    const wanted = text.trim().toLowerCase();
    if (wanted === "" || layout === null || size === null || view === null) return;
    const names = [...layout.places.keys()];
    const name =
      names.find((candidate) => candidate.toLowerCase() === wanted) ??
      names.find((candidate) => candidate.toLowerCase().startsWith(wanted)) ??
      names.find((candidate) => candidate.toLowerCase().includes(wanted));
    const place = name === undefined ? undefined : layout.places.get(name);
    if (place === undefined) return;
    props.onSelect({ node: place.name, on: "node" });
    if (isNarrow) frame.current?.querySelector(`[data-node="${place.name}"]`)?.scrollIntoView({ block: "center" });
    else setMoved(centreOn({ ...view, scale: Math.max(view.scale, 1) }, place, size));
  };

  return (
    <div
      class={`map-frame${view !== null && view.scale < NAMES_FROM_SCALE ? " map-names-hidden" : ""}`}
      ref={frame}
      style={isNarrow && layout !== null ? { height: `${layout.height}px`, touchAction: "pan-y" } : undefined}
      {...(isNarrow || view === null || props.isExcerpt === true ? {} : dragging(view, setMoved, frame))}
    >
      {layout !== null && view !== null && (
        <>
          {/* biome-ignore lint/a11y/useSemanticElements: HTML has no element that groups the parts of a drawing */}
          <svg role="group" aria-label={props.name}>
            <g transform={`matrix(${view.scale} 0 0 ${view.scale} ${view.x} ${view.y})`}>
              {drawnChannels}
              {[...layout.places.values()].map((place) => {
                const node = tree.byName.get(place.name);
                if (node === undefined) return null;
                const channel = channels.get(place.name)?.water ?? "closed";
                const host = hosts.get(place.name) ?? null;
                const isSelected = selection?.node === place.name;
                const isTabStop = place.name === tabStop;
                const isNamedAlways = node.parent === null || suspected.has(place.name);
                const of = [place, node, channel, host?.kind, lossOf(host), isSelected, isTabStop, isNamedAlways, tree];
                const before = drawnPlaces.current.get(place.name);
                if (before?.of.every((value, index) => value === of[index]) === true) return before.drawn;
                const drawn = (
                  <Place
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
                    onFold={() => setFolds((all) => new Map(all).set(place.name, !folded.has(place.name)))}
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
                <Flag key={flag.mark.index} flag={flag} scale={view.scale} onSelect={props.onSelect} />
              ))}
            </g>
          </svg>
          <FlowCanvas flows={flows} view={view} />
        </>
      )}
      {props.isExcerpt !== true && (
        <div class="map-tools">
          {tree.root.size > 20 && (
            <input
              type="search"
              placeholder="Find a node"
              aria-label="Find a node"
              value={search}
              onInput={(event) => find(event.currentTarget.value)}
            />
          )}
          {!isNarrow && view !== null && size !== null && (
            <>
              <button
                type="button"
                class="press small"
                aria-label="Zoom out"
                onClick={() => setMoved(zoomView(view, 1 / 1.4, middle(size)))}
              >
                −
              </button>
              <button
                type="button"
                class="press small"
                aria-label="Zoom in"
                onClick={() => setMoved(zoomView(view, 1.4, middle(size)))}
              >
                +
              </button>
              <button type="button" class="press small" onClick={() => setMoved(null)}>
                Whole site
              </button>
            </>
          )}
        </div>
      )}
    </div>
  );
}

const middle = (size: { width: number; height: number }): { x: number; y: number } => ({
  x: size.width / 2,
  y: size.height / 2,
});

/** What is folded up: what the user folded, and of the branches without a finding in them those that `quiet` says. */
function foldedNodes(
  tree: SiteTree,
  chosen: ReadonlyMap<string, boolean>,
  quiet: "all" | "deep" | "none",
  marks: readonly FindingMark[],
): ReadonlySet<string> {
  const busy = new Set<string>();
  for (const mark of marks) {
    for (const { node } of mark.suspects) {
      for (let at: string | null = node; at !== null; at = tree.byName.get(at)?.parent ?? null) busy.add(at);
    }
  }
  const folded = new Set<string>();
  for (const [name, node] of tree.byName) {
    if (node.children.length === 0) continue;
    const isDeep = node.parent !== null && tree.byName.get(node.parent)?.parent !== null;
    const isFoldedAnyway = quiet === "all" || (quiet === "deep" && isDeep);
    if (chosen.get(name) ?? (isFoldedAnyway && !busy.has(name))) folded.add(name);
  }
  return folded;
}

const lossOf = (host: HostWater | null): number | null => (host?.kind === "thins" ? host.lossRatio : null);

/** Everything that decides how the channels look, as one text to compare. */
const picture = (layout: DeltaLayout, { channels, rateBps }: SiteMapProps): string =>
  [...layout.places.keys()]
    .map((name) => {
      const channel = channels.get(name);
      return `${channel?.water}${channel?.isFirst === true ? "!" : ""}${channelWidth(rateBps(name))}`;
    })
    .join(" ");

interface Barrier {
  readonly glyph: Glyph;
}

function barriers(marks: readonly FindingMark[]): ReadonlyMap<string, Barrier> {
  return new Map(marks.flatMap((mark) => (mark.on === "channel" ? [[mark.node, { glyph: mark.glyph }]] : [])));
}

const isWet = (channel: Channel | undefined): boolean =>
  channel !== undefined && (channel.water === "flows" || channel.water === "thins");

function movingWater(layout: DeltaLayout, { channels, marks, rateBps }: SiteMapProps): readonly Flow[] {
  const barred = barriers(marks);
  return [...layout.places.values()].flatMap((place) => {
    if (place.inlet.length === 0 || !isWet(channels.get(place.name))) return [];
    const width = channelWidth(rateBps(place.name));
    const isBarred = barred.get(place.name)?.glyph === "stop";
    const inlet = isBarred ? cut(place.inlet, markDistance(place.inlet)) : place.inlet;
    return [{ line: [...place.approach, ...inlet.slice(1)], width }];
  });
}

/** Banks, then beds, then dye, then marks: each layer whole before the next, so that channels open into one another. */
function Channels({
  layout,
  channels,
  marks,
  rateBps,
  tree,
  selection,
  onSelect,
}: SiteMapProps & { readonly layout: DeltaLayout }) {
  const barred = barriers(marks);
  const suspectsOn = (on: "channel" | "node") =>
    new Set(marks.flatMap((mark) => mark.suspects.flatMap((one) => (one.on === on ? [one.node] : []))));
  const suspectChannels = suspectsOn("channel");
  const suspectNodes = suspectsOn("node");
  const drawn = [...layout.places.values()].map((place) => {
    const channel = channels.get(place.name);
    const water = channel?.water ?? "closed";
    return {
      place,
      water,
      kind: water === "dry" || water === "unknown" ? water : "",
      glyph: barred.get(place.name)?.glyph ?? null,
      isDryFront: channel?.isFirst === true && water === "dry",
      width: channelWidth(rateBps(place.name)),
    };
  });
  const lines = (place: NodePlace) => (place.inlet.length === 0 ? place.header : [place.inlet, ...place.header]);
  return (
    <g>
      {drawn.map(({ place }) => (
        <g key={place.name}>
          {suspectChannels.has(place.name) && place.inlet.length > 0 && (
            <path class="suspect" d={pathOf(cut(place.inlet, 8, true))} />
          )}
          {suspectNodes.has(place.name) && <circle class="suspect-node" cx={place.x} cy={place.y} r={24} />}
        </g>
      ))}
      {drawn.map(({ place, kind, width }) =>
        lines(place).map((line, index) => (
          <path key={`${place.name} ${index}`} class={`bank ${kind}`} d={pathOf(line)} stroke-width={width + 5} />
        )),
      )}
      {drawn.map(({ place, kind, width }) =>
        lines(place).map((line, index) => (
          <path key={`${place.name} ${index}`} class={`bed ${kind}`} d={pathOf(line)} stroke-width={width + 2} />
        )),
      )}
      {drawn.map(({ place, water, glyph, isDryFront, width }) => {
        if (place.inlet.length === 0) return null;
        if (glyph === "stop" || isDryFront) {
          return <DammedDye key={place.name} approach={place.approach} inlet={place.inlet} width={width} />;
        }
        if (water === "closed" || water === "still" || water === "dry" || water === "unknown") return null;
        if (glyph === "thin") {
          return <ThinningDye key={place.name} approach={place.approach} inlet={place.inlet} width={width} />;
        }
        const whole = [...place.approach, ...place.inlet.slice(1)];
        return (
          <path
            key={place.name}
            class={`dye${water === "seeps" ? " seeps" : ""}`}
            d={pathOf(whole)}
            stroke-width={water === "thins" ? Math.max(2, width * 0.35) : width}
          />
        );
      })}
      {drawn.map(({ place, glyph, isDryFront, width }) =>
        place.inlet.length === 0 ? null : glyph !== null ? (
          <ChannelMark key={place.name} line={place.inlet} width={width} glyph={glyph} />
        ) : isDryFront ? (
          <DryFront key={place.name} place={place} width={width} />
        ) : null,
      )}
      {drawn.map(({ place }) =>
        place.inlet.length === 0 ? null : (
          // biome-ignore lint/a11y/noStaticElementInteractions: for the mouse; on the keyboard S at the node below does the same
          <path
            key={place.name}
            class={`hit${selection?.on === "channel" && selection.node === place.name ? " selected" : ""}`}
            d={pathOf(place.inlet)}
            onClick={() => onSelect({ node: place.name, on: "channel" })}
          >
            <title>{tree.byName.get(place.name)?.segmentId ?? ""}</title>
          </path>
        ),
      )}
    </g>
  );
}

/** Water that ends in a channel while the run goes on: a rounded end, and no bar, because nobody has concluded yet. */
function DryFront({ place, width }: { readonly place: NodePlace; readonly width: number }) {
  const spot = spotAt(place.inlet, markDistance(place.inlet));
  return <circle class="pool dry-front" cx={spot.x} cy={spot.y} r={width / 2 + 3} />;
}

interface PlaceProps {
  readonly place: NodePlace;
  readonly node: TreeNode;
  readonly water: ChannelWater;
  readonly host: HostWater | null;
  readonly isNamedAlways: boolean;
  readonly isSelected: boolean;
  /** The one place that Tab comes to; arrow keys lead on from there. */
  readonly isTabStop: boolean;
  readonly tree: SiteTree;
  readonly onSelect: (selection: MapSelection) => void;
  readonly onFold: () => void;
}

function Place(props: PlaceProps) {
  const { place, node, water, host, tree } = props;
  const sign = place.label === "left" ? -1 : 1;
  const reading = host === null ? "" : describeHostWater(host);
  // Begins with what is written beside the place, so that whoever reads it out and whoever speaks to it find each other.
  const written = `${place.name}${place.foldedNodes > 0 ? ` +${place.foldedNodes}` : ""}`;
  const says = [
    host?.kind === "thins" ? `${written} ${reading}` : written,
    ...(reading === "" || host?.kind === "thins" ? [] : [reading]),
    node.node.kind,
    ...(place.foldedNodes > 0 ? [`${place.foldedNodes} nodes folded up`] : []),
  ].join(", ");
  return (
    // biome-ignore lint/a11y/useSemanticElements: there is no button inside a drawing
    <g
      class={`node${props.isSelected ? " selected" : ""}${props.isNamedAlways ? " keeps-name" : ""}`}
      transform={`translate(${place.x} ${place.y})`}
      role="button"
      tabindex={props.isTabStop ? 0 : -1}
      aria-label={says}
      aria-pressed={props.isSelected}
      data-node={place.name}
      onClick={() => props.onSelect({ node: place.name, on: "node" })}
      onDblClick={() => node.children.length > 0 && props.onFold()}
      onKeyDown={(event) => {
        if (event.key === "Enter" || event.key === " ") {
          event.preventDefault();
          props.onSelect({ node: place.name, on: "node" });
        } else if (event.key === "f" && node.children.length > 0) props.onFold();
        else if (event.key === "s" && node.segmentId !== null) props.onSelect({ node: place.name, on: "channel" });
        else {
          const next = neighbour(event.key, node, tree);
          if (next === null) return;
          const there = event.currentTarget.ownerSVGElement?.querySelector<SVGGElement>(`[data-node="${next}"]`);
          if (there === null || there === undefined) return; // folded up
          event.preventDefault();
          props.onSelect({ node: next, on: "node" });
          there.focus();
        }
      }}
    >
      <circle class="focus" r={21} />
      <NodeShape node={node.node} water={water} host={host} />
      <text x={sign * 19} y={4.5} text-anchor={sign < 0 ? "end" : "start"}>
        {place.name}
        {place.foldedNodes > 0 && <tspan class="reading"> +{place.foldedNodes}</tspan>}
        {host?.kind === "thins" && (
          <tspan class="reading" x={sign * 19} dy={15}>
            {reading}
          </tspan>
        )}
      </text>
    </g>
  );
}

/** Arrow keys walk the tree: down to the first child, up to the parent, sideways among siblings. */
function neighbour(key: string, node: TreeNode, tree: SiteTree): string | null {
  const siblings = node.parent === null ? [] : (tree.byName.get(node.parent)?.children ?? []);
  const at = siblings.indexOf(node);
  const wanted =
    key === "ArrowDown"
      ? node.children[0]?.node.name
      : key === "ArrowUp"
        ? node.parent
        : key === "ArrowRight"
          ? siblings[at + 1]?.node.name
          : key === "ArrowLeft"
            ? siblings[at - 1]?.node.name
            : null;
  return wanted ?? null;
}

/** A flag that stays readable at every zoom. */
function Flag({
  flag,
  scale,
  onSelect,
}: {
  readonly flag: PlacedFlag;
  readonly scale: number;
  readonly onSelect: (selection: MapSelection) => void;
}) {
  const { mark, box } = flag;
  return (
    // biome-ignore lint/a11y/noStaticElementInteractions: said beside the map, and the place itself is a button
    <g
      class="flag"
      transform={`translate(${box.x} ${box.y}) scale(${1 / Math.min(1, scale)})`}
      onClick={() => onSelect({ node: mark.node, on: mark.on })}
    >
      <rect width={flagWidth(mark.word)} height={FLAG_HEIGHT} rx={2} />
      <text x={10} y={15.5}>
        {mark.word}
      </text>
    </g>
  );
}

/** A reading such as `5.44 % lost` may stand below a short name. */
const READING_WIDTH = 70;
const labelWidth = (name: string): number => Math.max(READING_WIDTH, textWidth(name));

const flagWidth = (word: string): number => textWidth(word) * 1.12 + 20;

function useSize(element: { readonly current: HTMLElement | null }): { width: number; height: number } | null {
  const [size, setSize] = useState<{ width: number; height: number } | null>(null);
  useLayoutEffect(() => {
    const target = element.current;
    if (target === null) return;
    const measure = (): void => {
      const width = target.clientWidth;
      // A narrow map is as tall as it needs to be: its height must not decide its own layout.
      const height = width < NARROW ? 0 : target.clientHeight;
      setSize((before) => (before?.width === width && before.height === height ? before : { width, height }));
    };
    measure();
    const observer = new ResizeObserver(measure);
    observer.observe(target);
    return () => observer.disconnect();
  }, [element]);
  return size;
}

/** Drag to move, wheel to zoom. */
function dragging(view: MapView, setView: (view: MapView) => void, frame: { readonly current: HTMLElement | null }) {
  let start: { readonly x: number; readonly y: number; readonly view: MapView } | null = null;
  return {
    onPointerDown: (event: PointerEvent) => {
      if (event.button !== 0 || !(event.target instanceof SVGSVGElement)) return;
      start = { x: event.clientX, y: event.clientY, view };
      const move = (next: PointerEvent): void => {
        if (start === null) return;
        setView({ ...start.view, x: start.view.x + next.clientX - start.x, y: start.view.y + next.clientY - start.y });
      };
      const end = (): void => {
        start = null;
        removeEventListener("pointermove", move);
        removeEventListener("pointerup", end);
        removeEventListener("pointercancel", end);
      };
      addEventListener("pointermove", move);
      addEventListener("pointerup", end);
      addEventListener("pointercancel", end);
    },
    onWheel: (event: WheelEvent) => {
      event.preventDefault();
      const box = frame.current?.getBoundingClientRect();
      if (box === undefined) return;
      setView(
        zoomView(view, Math.exp(-event.deltaY / 400), { x: event.clientX - box.left, y: event.clientY - box.top }),
      );
    },
  };
}
