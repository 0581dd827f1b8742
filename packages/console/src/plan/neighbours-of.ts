import type { PlanDrawing } from "@dyetrace/wire/console/plan-drawing";
import type { PlanEdit } from "@dyetrace/wire/console/plan-edit";

/** What each part of the panel beside the map is about. */
export interface NodePartProps {
  readonly drawing: PlanDrawing;
  readonly node: string;
  readonly isBusy: boolean;
  readonly onEdit: (edit: PlanEdit) => void;
}

/** Nodes at the other ends of a node's links, each once. */
export const neighboursOf = ({ links }: PlanDrawing, node: string): readonly string[] => [
  ...new Set(links.flatMap(({ a, b }) => (a.node === node ? [b.node] : b.node === node ? [a.node] : []))),
];

export const KINDS = ["host", "switch", "unmanaged", "router", "access-point"] as const;
