/** Where the site and its plan say different things. */
export interface SiteContradiction {
  readonly kind: "elsewhere" | "link" | "speed" | "duplex" | "vlan" | "blocked" | "down" | "unplanned";
  /** Places of the plan that it is about: nodes, and directions of links. */
  readonly places: readonly string[];
  /** What the plan says and what was seen. */
  readonly sentence: string;
  /** What findings can no longer be trusted in. */
  readonly effect: string;
}
