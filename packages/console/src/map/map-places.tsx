import {
  describeHostWater,
  type HostWater,
  hostClass,
  type NodePlace,
  nameGrowth,
  type PlaceLabel,
  type SiteMapProps,
  shownNames,
} from "@dyetrace/picture";
import { ManyCups } from "@dyetrace/picture/shapes/host-cup";
import { MapPlace } from "@dyetrace/picture/shapes/map-place";
import { placeLabel } from "@dyetrace/picture/shapes/place-shape";
import type { VNode } from "preact";
import { useMemo, useRef } from "preact/hooks";
import { isIn, type LayoutBox } from "./map-view.ts";
import type { DrawnSite } from "./use-drawn-site.ts";

interface MapPlacesProps extends SiteMapProps {
  readonly drawn: DrawnSite;
  /** Of the zoom, in steps. */
  readonly scale: number;
  /** The part of the layout that is in sight or close by; null: all of it. */
  readonly seen: LayoutBox | null;
}

/** Farther away the names of hosts without trouble only hide the channels. */
export const HOST_NAMES_FROM_SCALE = 0.45;

/**
 * All places of the map, each drawn anew only where it differs from before. Hosts whose names are not to be read now are
 * drawn together: to draw a thousand one by one takes longer than a frame.
 */
export function MapPlaces(props: MapPlacesProps) {
  const { drawn, selection, marks, scale, seen } = props;
  const { layout, tree, scene, readings } = drawn;
  const before = useRef(new Map<string, { readonly of: readonly unknown[]; readonly drawn: VNode }>());
  const tabStop =
    selection !== null && layout?.places.has(selection.node) === true ? selection.node : tree.root.node.name;
  const hostOf = (name: string): HostWater | null => scene.hosts.get(name) ?? null;
  const named = useMemo(() => {
    if (layout === null) return new Set<string>();
    const first = new Set(marks.flatMap((mark) => [mark.node, ...mark.suspects.map((one) => one.node)]));
    const rankOf = (name: string): number => {
      const node = tree.byName.get(name);
      if (node === undefined) return 9;
      if (first.has(name) || name === selection?.node) return 0;
      if (node.parent === null) return 1;
      const isTrouble = hostClass(hostOf(name)).isTrouble && node.node.agent !== null;
      if (isTrouble || node.group !== undefined) return isTrouble ? 2 : 6;
      return node.node.kind === "host" ? 7 : 3 + depthOf(name, tree) / 10;
    };
    const labelOf = (place: NodePlace): PlaceLabel => {
      const node = tree.byName.get(place.name);
      return node === undefined
        ? { width: 0, lines: 1 }
        : placeLabel(place, { node, host: hostOf(place.name), reading: readings.get(place.name) ?? null });
    };
    const isNear = scale >= HOST_NAMES_FROM_SCALE;
    return shownNames(
      [...layout.places.values()].filter(({ name }) => isNear || rankOf(name) < 6),
      scale,
      rankOf,
      labelOf,
    );
  }, [layout, nameGrowth(scale) === 1 ? 1 : scale, marks, selection?.node, scene.hosts]);
  const grow = nameGrowth(scale);
  const isOneOfMany = (place: NodePlace): boolean => {
    const node = tree.byName.get(place.name);
    if (node?.node.kind !== "host" || node.group !== undefined) return false;
    if (place.name === tabStop || place.name === selection?.node) return false;
    const kind = hostOf(place.name)?.kind;
    if (kind === "source" || kind === "silent-source") return false;
    return !named.has(place.name) || !isIn(seen, place);
  };
  const many = new Set(layout === null ? [] : [...layout.places.values()].filter(isOneOfMany));
  const cups = useMemo(
    () => <ManyCups cups={[...many].map(({ name, x, y }) => ({ host: hostOf(name), x, y }))} />,
    [[...many].map(({ name }) => name).join(" "), layout, scene.hosts],
  );
  if (layout === null) return null;
  return (
    <>
      {cups}
      {[...layout.places.values()].map((place) => {
        const node = tree.byName.get(place.name);
        if (node === undefined) return null;
        const water = scene.channels.get(place.name)?.water ?? "closed";
        const host = hostOf(place.name);
        const isSelected = selection?.node === place.name;
        const isTabStop = place.name === tabStop;
        const reading = readings.get(place.name) ?? null;
        const isNamed = named.has(place.name);
        const isDrawnElsewhere = many.has(place);
        const told = host === null ? null : describeHostWater(host);
        const of = [
          place,
          node.group?.words,
          water,
          told,
          isSelected,
          isTabStop,
          reading,
          isNamed,
          isDrawnElsewhere,
          isNamed && !isDrawnElsewhere ? grow : 1,
          tree.root.node.name,
        ];
        const known = before.current.get(place.name);
        if (known?.of.every((value, index) => value === of[index]) === true) return known.drawn;
        const vnode = (
          <MapPlace
            key={place.name}
            place={place}
            node={node}
            water={water}
            host={host}
            isNamed={isNamed}
            isDrawnElsewhere={isDrawnElsewhere}
            nameGrowth={isNamed ? grow : 1}
            reading={reading}
            isSelected={isSelected}
            isTabStop={isTabStop}
            tree={tree}
            onSelect={props.onSelect}
            onFold={() =>
              node.group === undefined
                ? drawn.fold([place.name], !drawn.folded.has(place.name))
                : drawn.open(node.parent === null ? [] : [node.parent])
            }
          />
        );
        before.current.set(place.name, { of, drawn: vnode });
        return vnode;
      })}
    </>
  );
}

function depthOf(name: string, tree: DrawnSite["tree"]): number {
  let depth = 0;
  for (let at = tree.byName.get(name)?.parent ?? null; at !== null; at = tree.byName.get(at)?.parent ?? null) depth++;
  return depth;
}
