/** What a router's own process is told when it starts; it travels as JSON on the command line. */
export interface RouterConfig {
  /** IPv4 is left to a routing daemon where there is one. */
  readonly families: readonly (4 | 6)[];
  readonly interfaces: readonly RouterInterface[];
  /** Addresses of the hosts of the site, of both families: the sources for which routes are kept before they send. */
  readonly hosts: readonly string[];
  readonly timers: {
    /** After this long without a report a member is forgotten (RFC 3376 section 8.4). */
    readonly membershipMs: number;
    /** After a leave the others have this long to speak up (RFC 3376 section 6.4.2). */
    readonly lastMemberMs: number;
  };
}

export interface RouterInterface {
  readonly name: string;
  readonly index: number;
  readonly mac: string;
  readonly ipv4: string;
  readonly ipv6: string | null;
  /** IPv4 addresses of the other routers in this subnet. */
  readonly neighbours: readonly string[];
  /** Hosts whose packets this router is the one to bring into this subnet; others' are another router's to bring. */
  readonly bringsFrom: readonly string[];
}
