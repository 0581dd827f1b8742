import { layOutDelta } from "../layout/delta-layout.ts";
import type { NodePlace } from "../layout/delta-place.ts";
import type { SiteTree } from "../layout/site-tree.ts";
import { textWidth } from "../layout/text-width.ts";
import { foldedNodes } from "../scene/folded-nodes.ts";
import { foldedWords } from "../scene/folded-words.ts";
import { GROUPED_FROM_NODES, groupHosts } from "../scene/group-hosts.ts";
import type { SiteScene } from "../scene/site-scene.ts";
import type { FindingMark } from "../water/finding-marks.ts";
import { markDistance } from "./channel-marks.tsx";
import { MapChannels } from "./map-channels.tsx";
import { flagWidth, MapFlag } from "./map-flag.tsx";
import { MapLanes } from "./map-lanes.tsx";
import { placeFlags } from "./place-flags.ts";
import { PlaceShape, placeLabel } from "./place-shape.tsx";

export interface SitePictureProps {
  readonly name: string;
  readonly tree: SiteTree;
  readonly scene: SiteScene;
  readonly marks: readonly FindingMark[];
  /** Of the stream that is drawn, UDP payload bits per second; null: not known. */
  readonly rateBps: number | null;
  /** The space that it is laid out for, in pixels. */
  readonly width: number;
  readonly height: number;
  /** Show the way to the marks alone, everything else folded up. */
  readonly isExcerpt: boolean;
  /** Words below some names, in the place of what their hosts lost; and of folded nodes without any such host. */
  readonly readings?: ReadonlyMap<string, string>;
  readonly quietWords?: string;
}

/** The site with a run's water in it, as a picture that nobody moves: in a finding's evidence, an exhibit or a report. */
export function SitePicture(props: SitePictureProps) {
  const { tree, scene, marks, width, height } = props;
  const isLarge = tree.byName.size > GROUPED_FROM_NODES;
  const folded = foldedNodes(tree, new Map(), props.isExcerpt ? "all" : isLarge ? "deep" : "none", marks);
  const readings = new Map([...foldedWords(tree, scene, folded, props.quietWords), ...(props.readings ?? [])]);
  const kept = new Set(marks.flatMap(({ node, suspects }) => [node, ...suspects.map((one) => one.node)]));
  const grouped = groupHosts(tree, scene, { kept, opened: new Set(), filter: "everything", isGrouping: isLarge });
  const layout = layOutDelta(grouped.tree, { width, height, folded, measure: textWidth, readings });
  const scale = Math.min(1, width / layout.width);
  const selected = () => {};
  const shownAt = (place: NodePlace) => ({
    host: grouped.scene.hosts.get(place.name) ?? null,
    reading: readings.get(place.name) ?? null,
  });
  const labelOf = (place: NodePlace) => {
    const node = grouped.tree.byName.get(place.name);
    return node === undefined ? null : placeLabel(place, { node, ...shownAt(place) });
  };
  return (
    <svg
      class="site-picture"
      role="img"
      aria-label={props.name}
      viewBox={`0 0 ${layout.width} ${layout.height}`}
      style={{ "--drawn": `${Math.ceil(layout.width)}px` }}
    >
      <MapLanes tree={tree} layout={layout} />
      <MapChannels
        tree={grouped.tree}
        layout={layout}
        channels={grouped.scene.channels}
        hosts={grouped.scene.hosts}
        marks={marks}
        rateBps={() => props.rateBps}
        isMoving={false}
        selection={null}
        onSelect={selected}
        name={props.name}
      />
      {[...layout.places.values()].map((place) => {
        const node = grouped.tree.byName.get(place.name);
        return node === undefined ? null : (
          <g key={place.name} class="node">
            <PlaceShape
              place={place}
              node={node}
              water={grouped.scene.channels.get(place.name)?.water ?? "closed"}
              {...shownAt(place)}
            />
          </g>
        );
      })}
      {placeFlags(marks, layout, { scale, width: flagWidth, label: labelOf, markAt: markDistance }).map((flag) => (
        <MapFlag key={flag.mark.index} flag={flag} scale={1} onSelect={selected} />
      ))}
    </svg>
  );
}
