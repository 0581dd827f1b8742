import {
  type DeltaLayout,
  foldedNodes,
  foldedWords,
  GROUPED_FROM_NODES,
  groupHosts,
  type HostFilter,
  layOutDelta,
  type SiteMapProps,
  type SiteScene,
  type SiteTree,
  textWidth,
} from "@dyetrace/picture";
import { useMemo, useState } from "preact/hooks";

/** What of a site is drawn: what is folded up, put together or left out. */
export interface DrawnSite {
  readonly tree: SiteTree;
  readonly scene: Pick<SiteScene, "channels" | "hosts">;
  readonly layout: DeltaLayout | null;
  readonly folded: ReadonlySet<string>;
  /** What stands below the names of folded nodes. */
  readonly readings: ReadonlyMap<string, string>;
  readonly isLarge: boolean;
  readonly isWhole: boolean;
  readonly filter: HostFilter;
  readonly fold: (names: readonly string[], isFolded: boolean) => void;
  /** The hosts of a switch stand one by one. */
  readonly open: (names: readonly string[]) => void;
  readonly showWhole: (isWhole: boolean) => void;
  readonly setFilter: (filter: HostFilter) => void;
}

const NONE: ReadonlyMap<string, string> = new Map();

export function useDrawnSite(
  { tree, channels, hosts, marks, selection }: SiteMapProps,
  size: { readonly width: number; readonly height: number } | null,
): DrawnSite {
  const isLarge = tree.byName.size > GROUPED_FROM_NODES;
  const [folds, setFolds] = useState<ReadonlyMap<string, boolean>>(new Map());
  const [opened, setOpened] = useState<ReadonlySet<string>>(new Set());
  const [isWhole, setWhole] = useState(false);
  const [filter, setFilter] = useState<HostFilter>("everything");
  const folded = useMemo(
    () => foldedNodes(tree, folds, isLarge && !isWhole && filter === "everything" ? "deep" : "none", marks),
    [tree, folds, isLarge, isWhole, filter, marks],
  );
  const chosen = selection?.node ?? null;
  const scene = useMemo(() => ({ channels, hosts, ratesBps: new Map<string, number>() }), [channels, hosts]);
  const readings = useMemo(() => (folded.size === 0 ? NONE : foldedWords(tree, scene, folded)), [tree, scene, folded]);
  const grouped = useMemo(() => {
    const kept = new Set([
      ...(chosen === null ? [] : [chosen]),
      ...marks.flatMap(({ node, suspects }) => [node, ...suspects.map((one) => one.node)]),
    ]);
    return groupHosts(tree, scene, { kept, opened, filter, isGrouping: isLarge && !isWhole });
  }, [tree, scene, chosen, marks, opened, filter, isLarge, isWhole]);
  // Every second brings new figures and mostly the same outlets: only other outlets are laid out anew.
  const outlets = [grouped.tree.byName.keys(), folded, readings.values()].map((all) => [...all].join("\n")).join("\t");
  const layout = useMemo(
    () => (size === null ? null : layOutDelta(grouped.tree, { ...size, folded, measure: labelWidth, readings })),
    [outlets, tree, size?.width, size?.height],
  );
  return {
    tree: grouped.tree,
    scene: grouped.scene,
    layout,
    folded,
    readings,
    isLarge,
    isWhole,
    filter,
    fold: (names, isFolded) => setFolds((all) => new Map([...all, ...names.map((name) => [name, isFolded] as const)])),
    open: (names) => setOpened((all) => new Set([...all, ...names])),
    showWhole: (next) => {
      setFolds(new Map());
      setOpened(new Set());
      setWhole(next);
    },
    setFilter,
  };
}

/** A reading such as `5.44 % lost` may stand below a short name. */
const READING_WIDTH = 70;
const labelWidth = (name: string): number => Math.max(READING_WIDTH, textWidth(name));
