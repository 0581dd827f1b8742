import { groupBy } from "@dyetrace/wire";
import type { SiteIndex } from "../site/site-index.ts";
import { reaches, type SourceTree, sourceTree } from "../site/source-tree.ts";
import { cleanReceipt, type PlacedReceipt } from "./clean-receipt.ts";
import { clockErrors } from "./host-clocks.ts";
import type {
  BystanderObservation,
  ListenerObservation,
  RunObservations,
  StreamObservation,
} from "./run-observations.ts";

/** Everything a run says about one stream, hung on its tree. */
export interface StreamFacts {
  readonly stream: StreamObservation;
  readonly tree: SourceTree;
  /** The group; with its source where joins are source-specific, for then the source is part of the state on the way. */
  readonly groupKey: string;
  /** How far the source's clock may be off, either way: 0 where nothing was said of clocks, infinite where it was never compared. */
  readonly clockMs: number;
  /** Node numbers of all joined hosts, whether they reported or not. */
  readonly members: ReadonlySet<number>;
  readonly receipts: readonly PlacedReceipt[];
  readonly bystanders: readonly PlacedBystander[];
  /** Joined listeners that said nothing. */
  readonly missing: readonly ListenerObservation[];
  /** Observations of hosts that the plan connects to the source by no path. */
  readonly unreachable: readonly ListenerObservation[];
}

export interface PlacedBystander {
  readonly bystander: BystanderObservation;
  readonly node: number;
}

/** Streams whose source the plan does not know are left out: nothing can be said about their paths. */
export function streamFacts(site: SiteIndex, run: RunObservations): StreamFacts[] {
  const trees = new Map<number, SourceTree>();
  const listenersOf = groupBy(run.listeners, ({ stream }) => stream);
  const clockMsOf = clockErrors(run);
  const bystandersOf = groupBy(run.bystanders, ({ stream }) => stream);
  return run.streams.flatMap((stream) => {
    const source = site.nodeNumber.get(stream.source);
    if (source === undefined) return [];
    const tree = trees.get(source) ?? sourceTree(site, source);
    trees.set(source, tree);
    const receipts: PlacedReceipt[] = [];
    const missing: ListenerObservation[] = [];
    const unreachable: ListenerObservation[] = [];
    const members = new Set<number>();
    for (const listener of listenersOf.get(stream.stream) ?? []) {
      const node = site.nodeNumber.get(listener.host);
      if (node === undefined || !reaches(tree, node) || node === source) {
        if (node !== source) unreachable.push(listener);
        continue;
      }
      members.add(node);
      const receipt = cleanReceipt(stream, listener, node);
      if (receipt === null) missing.push(listener);
      else receipts.push(receipt);
    }
    const bystanders = (bystandersOf.get(stream.stream) ?? []).flatMap((bystander) => {
      const node = site.nodeNumber.get(bystander.host);
      return node === undefined || !reaches(tree, node) ? [] : [{ bystander, node }];
    });
    const groupKey = stream.ssm ? `${stream.source}, ${stream.group}` : stream.group;
    const clockMs = clockMsOf(stream.source);
    return [{ stream, tree, groupKey, clockMs, members, receipts, bystanders, missing, unreachable }];
  });
}
