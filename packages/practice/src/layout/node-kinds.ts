import type { NodeKind } from "@dyetrace/site";

/** Switches and access points snoop; unmanaged switches only forward. */
export const isForwarding = (kind: NodeKind): boolean => isSnooping(kind) || kind === "unmanaged";
export const isSnooping = (kind: NodeKind): boolean => kind === "switch" || kind === "access-point";
