/** What switches and routers said of themselves in a run, by the names of the plan. What they could not say is null or left out. */

/** Multicast frames that a port counted one way, from the last reading before the run to the first one after it. */
export interface PortCount {
  readonly frames: number;
  /** Of all sorts of traffic in frames per second, while the run had not begun; null where that was not read. */
  readonly quietPerS: number | null;
  /** For how long that was watched, s. */
  readonly quietS: number;
  /** From when to when it counted, ms after the run's start; each may be off by `skewMs` either way. */
  readonly fromMs: number;
  readonly toMs: number;
  readonly skewMs: number;
  /** False: it stands at 0 since the device began, so that it may not count at all. Absent: not known. */
  readonly hasEverCounted?: boolean;
}

export interface PortObservation {
  /** As the plan names it. */
  readonly port: string;
  /** Null: all VLANs of the port together. */
  readonly vlan: number | null;
  /** Frames that came from the wire, and that went to it. */
  readonly in: PortCount | null;
  readonly out: PortCount | null;
}

/** One reading of a switch's group table. */
export interface TableObservation {
  /** Ms after the run's start; negative before it. */
  readonly atMs: number;
  /** IP addresses, or Ethernet addresses as switches have them; ports as the plan names them. VLAN null: not told. */
  readonly groups: readonly {
    readonly vlan: number | null;
    readonly group: string;
    readonly ports: readonly string[];
  }[];
  /** Ports to which all groups of a VLAN go, such as towards routers; null: not known. */
  readonly allGroupPorts: readonly { readonly vlan: number | null; readonly ports: readonly string[] }[] | null;
  /** False where what is not in it proves nothing: it was cut, or speaks of a port that nobody can name. */
  readonly isWhole: boolean;
}

export interface DeviceObservation {
  readonly node: string;
  readonly ports: readonly PortObservation[];
  readonly tables: readonly TableObservation[];
}
