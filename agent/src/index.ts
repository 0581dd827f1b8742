export type { DataPlane, DataPlaneOptions } from "./data-plane/data-plane.ts";
export { openDataPlane } from "./data-plane/open-data-plane.ts";
