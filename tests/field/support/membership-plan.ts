/**
 * A site on which what a switch must forward, and what it must not, can be told apart:
 *
 *   tower, office -- core --+-- pier --+-- kiosk, stand
 *                           |          +-- hub -- till-a, till-b
 *                           +-- lobby-hub --+-- lobby
 *                                           +-- spine (the querier) -- vault
 *
 * The lobby sits on the way to the querier and sees everything that core sends that way; the vault does not.
 */
export const MEMBERSHIP_PLAN = `
site: Quillfen Ferry Terminal
nodes:
  core: { kind: switch }
  pier: { kind: switch }
  spine: { kind: switch, querier: true }
  hub: { kind: unmanaged }
  lobby-hub: { kind: unmanaged }
  tower: { kind: host }
  office: { kind: host }
  kiosk: { kind: host }
  stand: { kind: host }
  till-a: { kind: host }
  till-b: { kind: host }
  lobby: { kind: host }
  vault: { kind: host }
links:
  - core:1 -- pier:24
  - core:5 -- lobby-hub:1
  - core:9 -- tower:eth0
  - core:10 -- office:eth0
  - pier:1 -- kiosk:eth0
  - pier:2 -- stand:eth0
  - pier:3 -- hub:1
  - hub:2 -- till-a:eth0
  - hub:3 -- till-b:eth0
  - lobby-hub:2 -- spine:1
  - lobby-hub:3 -- lobby:eth0
  - spine:2 -- vault:eth0
`;
