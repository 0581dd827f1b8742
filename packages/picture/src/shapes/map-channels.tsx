import type { DeltaLayout, NodePlace, Polyline } from "../layout/delta-place.ts";
import type { Flow } from "../layout/flow.ts";
import { channelWidth, cut, pathOf, spotAt } from "../layout/geometry.ts";
import { BrokenDye, ChannelMark, DammedDye, markDistance, SeepingBeads, ThinningDye } from "./channel-marks.tsx";
import { beadedWays, type ChannelPicture, glyphsOf, pictureChannel } from "./channel-picture.ts";
import { RestsLines } from "./rests-lines.tsx";
import type { SiteMapProps } from "./site-map-props.ts";

interface DrawnChannel {
  readonly place: NodePlace;
  readonly picture: ChannelPicture;
  readonly width: number;
}

function drawnChannels(layout: DeltaLayout, { channels, marks, rateBps }: SiteMapProps): readonly DrawnChannel[] {
  const glyphs = glyphsOf(marks);
  const carrying = new Set(marks.flatMap((mark) => mark.carrying));
  return [...layout.places.values()].map((place) => ({
    place,
    picture: pictureChannel(channels.get(place.name), glyphs.get(place.name) ?? null, carrying.has(place.name)),
    width: channelWidth(rateBps(place.name)),
  }));
}

/** Where water moves at present, from head to outlet. */
export function movingWater(layout: DeltaLayout, props: SiteMapProps): readonly Flow[] {
  return drawnChannels(layout, props).flatMap(({ place, picture, width }) => {
    if (place.inlet.length === 0 || !picture.isMoving) return [];
    const inlet = picture.glyph === "stop" ? cut(place.inlet, markDistance(place.inlet)) : place.inlet;
    return [{ line: [...place.approach, ...inlet.slice(1)], width }];
  });
}

/** Banks, then beds, then dye, then marks: each layer whole before the next, so that channels open into one another. */
export function MapChannels(
  props: SiteMapProps & {
    readonly layout: DeltaLayout;
    /** Seen from so far that an outlet is thinner than a pointer: only what leads to more can be pressed. */
    readonly isFar?: boolean;
  },
) {
  const { layout, channels, marks, tree, selection, onSelect, isFar = false } = props;
  const suspectsOn = (on: "channel" | "node") =>
    new Set(marks.flatMap((mark) => mark.suspects.flatMap((one) => (one.on === on ? [one.node] : []))));
  const suspectChannels = suspectsOn("channel");
  const suspectNodes = suspectsOn("node");
  const drawn = drawnChannels(layout, props);
  const strokes = bedStrokes(drawn);
  return (
    <g>
      {drawn.map(({ place }) => {
        const isOnChannel = suspectChannels.has(place.name) && place.inlet.length > 0;
        const isOnNode = suspectNodes.has(place.name);
        if (!isOnChannel && !isOnNode) return null;
        return (
          <g key={place.name}>
            {isOnChannel && <path class="suspect" d={pathOf(cut(place.inlet, 8, true))} />}
            {isOnNode && <circle class="suspect-node" cx={place.x} cy={place.y} r={24} />}
          </g>
        );
      })}
      {strokes.map(({ bed, width, d }) => (
        <path key={`${bed} ${width}`} class={`bank ${bed}`} d={d} stroke-width={width + 5} />
      ))}
      {strokes.map(({ bed, width, d }) => (
        <path key={`${bed} ${width}`} class={`bed ${bed}`} d={d} stroke-width={width + 2} />
      ))}
      {props.rests !== undefined && <RestsLines layout={layout} rests={props.rests} />}
      {plainDye(drawn).map(({ width, d }) => (
        <path key={width} class="dye" d={d} stroke-width={width} />
      ))}
      {drawn.map((one) => one.place.inlet.length > 0 && <ChannelDye key={one.place.name} {...one} />)}
      {beadedHeaders(props).map((line) => (
        <SeepingBeads key={pathOf(line)} line={line} from={BEADS_FROM} />
      ))}
      {drawn.map(({ place, picture, width }) =>
        place.inlet.length === 0 ? null : picture.glyph !== null ? (
          <ChannelMark key={place.name} line={place.inlet} width={width} glyph={picture.glyph} />
        ) : picture.isDryFront ? (
          <DryFront key={place.name} place={place} width={width} />
        ) : null,
      )}
      {drawn.map(({ place, picture }) =>
        place.inlet.length === 0 || (isFar && picture.glyph === null && isOutlet(place, tree)) ? null : (
          // biome-ignore lint/a11y/noStaticElementInteractions: for the mouse; on the keyboard S at the node below does the same
          <path
            key={place.name}
            class={`hit${selection?.on === "channel" && selection.node === place.name ? " selected" : ""}`}
            data-channel={place.name}
            data-water={channels.get(place.name)?.water}
            data-mark={picture.glyph ?? undefined}
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

const isOutlet = ({ name }: NodePlace, tree: SiteMapProps["tree"]): boolean =>
  tree.byName.get(name)?.node.kind === "host";

interface Stroke {
  readonly width: number;
  readonly d: string;
}

/** A wet bed opens into what it comes from, so that dry ones lie upon it. */
const BED_ORDER: readonly ChannelPicture["bed"][] = ["", "unknown", "dry"];

/** All channels of one kind and width as one shape: a thousand shapes take longer to draw than one of a thousand lines. */
function bedStrokes(drawn: readonly DrawnChannel[]): readonly (Stroke & { readonly bed: ChannelPicture["bed"] })[] {
  const lines = (place: NodePlace) => (place.inlet.length === 0 ? place.header : [place.inlet, ...place.header]);
  return BED_ORDER.flatMap((bed) =>
    byWidth(
      drawn.flatMap(({ place, picture, width }) =>
        lines(place).flatMap((line, index) => (bedOf(place, picture, index) === bed ? { line, width } : [])),
      ),
    ).map((stroke) => ({ ...stroke, bed })),
  );
}

/** The dye of channels without a mark of their own in it. */
const plainDye = (drawn: readonly DrawnChannel[]): readonly Stroke[] =>
  byWidth(
    drawn.flatMap(({ place, picture, width }) => {
      if (place.inlet.length === 0) return [];
      const line = [...place.approach, ...place.inlet.slice(1)];
      if (picture.dye === "whole") return { line, width };
      return picture.dye === "thread" ? { line, width: Math.max(2, width * 0.35) } : [];
    }),
  );

function byWidth(lines: readonly { readonly line: Polyline; readonly width: number }[]): readonly Stroke[] {
  const parts = new Map<number, string[]>();
  for (const { line, width } of lines) {
    const known = parts.get(width);
    if (known === undefined) parts.set(width, [pathOf(line)]);
    else known.push(pathOf(line));
  }
  return [...parts].map(([width, all]) => ({ width, d: all.join("") }));
}

/** Of a place's lines, the first leads to it, unless it is the root; the others are its own channel. */
const bedOf = (place: NodePlace, picture: ChannelPicture, index: number): ChannelPicture["bed"] =>
  index === 0 && place.inlet.length > 0 ? picture.bed : picture.headerBed;

/** Beads begin beside the channel that they come out of, not in it. */
const BEADS_FROM = 13;

function ChannelDye({ place, picture, width }: DrawnChannel) {
  const { approach, inlet } = place;
  const whole = [...approach, ...inlet.slice(1)];
  switch (picture.dye) {
    case "none":
    case "whole":
    case "thread":
      return null; // plainDye has it
    case "broken":
      return <path class="dye breaks" d={pathOf(whole)} stroke-width={width} />;
    case "dammed":
      return <DammedDye approach={approach} inlet={inlet} width={width} />;
    case "thinning":
      return <ThinningDye approach={approach} inlet={inlet} width={width} />;
    case "breaking":
      return <BrokenDye approach={approach} inlet={inlet} width={width} />;
    case "beads":
      return <SeepingBeads line={inlet} from={BEADS_FROM} />;
  }
}

/** The parents' own channels through which nothing came but what seeps. */
function beadedHeaders({
  tree,
  channels,
  layout,
}: SiteMapProps & { readonly layout: DeltaLayout }): readonly Polyline[] {
  const seeps = (name: string): boolean => channels.get(name)?.water === "seeps";
  return [...tree.byName.values()].flatMap(({ node, children }) => {
    if (!seeps(node.name)) return [];
    return beadedWays(
      children.flatMap((child) => (seeps(child.node.name) ? (layout.places.get(child.node.name) ?? []) : [])),
    );
  });
}

/** Water that ends in a channel while the run goes on: a rounded end, and no bar, because nobody has concluded yet. */
function DryFront({ place, width }: { readonly place: NodePlace; readonly width: number }) {
  const spot = spotAt(place.inlet, markDistance(place.inlet));
  return <circle class="pool dry-front" cx={spot.x} cy={spot.y} r={width / 2 + 3} />;
}
