import type { InventoryAsker, InventorySender } from "./inventory-schema.ts";

/** What a host sends from that has no address yet: it tells no host from another. */
export const isNobodys = (address: string): boolean => address === "0.0.0.0" || address === "::";

/** An address with the agent whose host it is; null: none of them. */
export const nameAddress = (address: string, agent: string | null): string =>
  agent === null ? address : `${address} (${agent})`;

/** Hosts without an address differ by their cards alone. */
export const nameAsker = ({ address, agent, hardware }: InventoryAsker): string =>
  isNobodys(address) ? `${address} at ${hardware}` : nameAddress(address, agent);

export const sayCard = ({ hardware }: Pick<InventorySender, "hardware">): string =>
  hardware ?? "Ethernet address unknown";

/** Such as `190 packets/s`, `0.17 packets/s`. */
export const sayPacketRate = (perSecond: number): string =>
  `${perSecond >= 10 ? Math.round(perSecond) : Number(perSecond.toPrecision(2))} packets/s`;
