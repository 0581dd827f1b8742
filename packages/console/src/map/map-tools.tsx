import type { HostFilter, SiteTree, TreeNode } from "@dyetrace/picture";
import type { DrawnSite } from "./use-drawn-site.ts";

interface MapToolsProps {
  readonly tree: SiteTree;
  readonly search: string;
  /** Whether a node is called what was searched for. */
  readonly isFound: boolean;
  readonly onSearch: (text: string) => void;
  readonly selected: TreeNode | null;
  readonly drawn: DrawnSite;
  /** Null where the map cannot be zoomed. */
  readonly onZoom: ((by: number) => void) | null;
  readonly onShowAll: () => void;
}

/** Sites with more nodes have a search. */
export const SEARCHED_NODES = 20;
const ZOOM_STEP = 1.4;

/** What stands in the map's corner: search, fold, zoom. */
export function MapTools(props: MapToolsProps) {
  const { tree, search, selected, drawn, onZoom } = props;
  const { folded } = drawn;
  return (
    <div class="map-tools">
      {tree.byName.size > SEARCHED_NODES && (
        <input
          type="search"
          placeholder="Find a node"
          aria-label="Find a node"
          value={search}
          onInput={(event) => props.onSearch(event.currentTarget.value)}
        />
      )}
      {search.trim() !== "" && !props.isFound && (
        <span class="small" role="status">
          No node is called that.
        </span>
      )}
      {selected !== null && selected.children.length > 0 && (
        <button
          type="button"
          class="press small"
          onClick={() => drawn.fold([selected.node.name], !folded.has(selected.node.name))}
        >
          {folded.has(selected.node.name) ? "Unfold" : "Fold up"} {selected.node.name}
        </button>
      )}
      {drawn.isLarge && (
        <>
          <select
            aria-label="Hosts on the map"
            value={drawn.filter}
            onChange={(event) => drawn.setFilter(event.currentTarget.value as HostFilter)}
          >
            <option value="everything">All hosts</option>
            <option value="listeners">Hosts that took part</option>
            <option value="trouble">Hosts with trouble</option>
          </select>
          <button type="button" class="press small" onClick={() => drawn.showWhole(!drawn.isWhole)}>
            {drawn.isWhole ? "Fold up" : "Unfold all"}
          </button>
        </>
      )}
      {onZoom !== null && (
        <>
          <button type="button" class="press small" aria-label="Zoom out" onClick={() => onZoom(1 / ZOOM_STEP)}>
            −
          </button>
          <button type="button" class="press small" aria-label="Zoom in" onClick={() => onZoom(ZOOM_STEP)}>
            +
          </button>
          <button type="button" class="press small" onClick={props.onShowAll}>
            Whole site
          </button>
        </>
      )}
    </div>
  );
}
