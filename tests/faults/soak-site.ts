import type { FindingKind } from "@dyetrace/wire";

/** The site whose soaks meet accidents of agents and controller. */
export const SOAK_PLAN = `site: Quillfen Night Ferry
nodes:
  core: { kind: switch, querier: true }
  east: { kind: switch }
  tower: { kind: host }
  office: { kind: host }
  kiosk-1: { kind: host }
  kiosk-2: { kind: host }
  lounge: { kind: host }
links:
  - core:1 -- east:24
  - core:9 -- tower:eth0
  - core:10 -- office:eth0
  - east:1 -- kiosk-1:eth0
  - east:2 -- kiosk-2:eth0
  - core:3 -- lounge:eth0
`;

/** What such accidents could make of a sound network. */
export const ACCUSING_THE_WAY: readonly FindingKind[] = ["stops", "loses", "group-specific"];
