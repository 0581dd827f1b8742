import type { DeviceReading } from "./device-reading.ts";

type Asked = Pick<DeviceReading, "node" | "readAt" | "by" | "address">;

/** A reading of which nothing is known yet; whoever fills it in says in `unread` why the rest is null. */
export const blankReading = (asked: Asked): DeviceReading => ({
  formatVersion: 1,
  ...asked,
  tookMs: 0,
  systemName: null,
  systemDescription: null,
  upMs: null,
  chassis: null,
  ports: null,
  neighbours: null,
  forwarding: null,
  vlans: null,
  groups: null,
  routerPorts: null,
  queriers: null,
  memberships: null,
  routes: null,
  addresses: null,
  arp: null,
  unread: [],
});
