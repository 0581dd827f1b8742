import type { FindingGlyph } from "@dyetrace/wire";
import { ChannelMark, DammedDye, markDistance, ThinningDye } from "./channel-marks.tsx";
import type { Channel } from "./channel-water.ts";
import type { FindingMark } from "./finding-marks.ts";
import type { Flow } from "./flow-canvas.tsx";
import type { DeltaLayout, NodePlace } from "./layout/delta-place.ts";
import { channelWidth, cut, pathOf, spotAt } from "./layout/geometry.ts";
import type { SiteMapProps } from "./site-map-props.ts";

interface Barrier {
  readonly glyph: FindingGlyph;
}

function barriers(marks: readonly FindingMark[]): ReadonlyMap<string, Barrier> {
  return new Map(marks.flatMap((mark) => (mark.on === "channel" ? [[mark.node, { glyph: mark.glyph }]] : [])));
}

const isWet = (channel: Channel | undefined): boolean =>
  channel !== undefined && (channel.water === "flows" || channel.water === "thins");

/** Where water moves at present, from head to outlet. */
export function movingWater(layout: DeltaLayout, { channels, marks, rateBps }: SiteMapProps): readonly Flow[] {
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
export function MapChannels({
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
