/**
 * Whether a host's switch acted on a query about a group: it did where the host heard it, and where the query came to the
 * switch from elsewhere. A switch that queries itself asks at the port of whoever left, and lets the others be.
 * @param portOf `switch:port` of a host; null where it is not known
 * @param queriers switches that query by the plan; null where it names none
 */
export const heededAt =
  (host: string, portOf: (host: string) => string | null, queriers: ReadonlySet<string> | null) =>
  (heardBy: readonly string[]): boolean => {
    if (heardBy.includes(host)) return true;
    const own = switchOf(portOf(host));
    if (own === null) return false;
    const ports = new Set(heardBy.map(portOf).filter((port) => switchOf(port) === own));
    return ports.size > 1 || (ports.size === 1 && queriers !== null && !queriers.has(own));
  };

const switchOf = (port: string | null): string | null => port?.replace(/:[^:]*$/, "") ?? null;
