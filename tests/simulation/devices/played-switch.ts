import { integer, octetString } from "./ber.ts";
import type { PlayedObject } from "./played-device.ts";

const COUNTER64 = 0x46;
const COUNTER32 = 0x41;
const GAUGE32 = 0x42;
const TIME_TICKS = 0x43;

/**
 * A switch of three ports, `1` to `3` with ifIndex 101 to 103, in VLAN 10: what its tables hold by the MIBs' own texts. On port 1
 * pier-east announces itself; the group 01:00:5e:43:0a:04 goes to ports 1 and 3.
 */
export function switchObjects(inMulticast: readonly number[] = [1140, 7, 0], upTicks = 360_000): PlayedObject[] {
  const text = (oid: string, value: string): PlayedObject => ({ oid, value: octetString(value) });
  const bytes = (oid: string, ...value: number[]): PlayedObject => ({ oid, value: octetString(value) });
  const number = (oid: string, value: number, tag?: number): PlayedObject => ({ oid, value: integer(value, tag) });
  const ports = [1, 2, 3].flatMap((port) => {
    const index = 100 + port;
    return [
      text(`1.3.6.1.2.1.2.2.1.2.${index}`, `Port ${port}`),
      number(`1.3.6.1.2.1.2.2.1.3.${index}`, 6),
      bytes(`1.3.6.1.2.1.2.2.1.6.${index}`, 2, 0, 0x5e, 0x10, 0, port),
      number(`1.3.6.1.2.1.2.2.1.7.${index}`, 1),
      number(`1.3.6.1.2.1.2.2.1.8.${index}`, port === 2 ? 2 : 1),
      number(`1.3.6.1.2.1.2.2.1.13.${index}`, 5, COUNTER32),
      number(`1.3.6.1.2.1.2.2.1.14.${index}`, 2, COUNTER32),
      text(`1.3.6.1.2.1.31.1.1.1.1.${index}`, `${port}`),
      number(`1.3.6.1.2.1.31.1.1.1.8.${index}`, inMulticast[port - 1] ?? 0, COUNTER64),
      number(`1.3.6.1.2.1.31.1.1.1.12.${index}`, 4_294_967_299, COUNTER64),
      number(`1.3.6.1.2.1.31.1.1.1.15.${index}`, 1000, GAUGE32),
      text(`1.3.6.1.2.1.31.1.1.1.18.${index}`, ""),
      number(`1.3.6.1.2.1.17.1.4.1.2.${port}`, index),
      number(`1.3.6.1.2.1.17.2.15.1.3.${port}`, port === 3 ? 2 : 5),
      number(`1.3.6.1.2.1.17.7.1.4.5.1.1.${port}`, 10, GAUGE32),
      number(`1.3.6.1.2.1.10.7.2.1.19.${index}`, 3),
    ];
  });
  return [
    text("1.3.6.1.2.1.1.1.0", "A switch of three ports"),
    number("1.3.6.1.2.1.1.3.0", upTicks, TIME_TICKS),
    text("1.3.6.1.2.1.1.5.0", "core"),
    bytes("1.3.6.1.2.1.17.1.1.0", 2, 0, 0x5e, 0x10, 0, 0),
    ...ports,
    // VLAN 10 in forwarding database 1: dot1qVlanFdbId, index time mark and VLAN.
    number("1.3.6.1.2.1.17.7.1.4.2.1.3.0.10", 1, GAUGE32),
    bytes("1.3.6.1.2.1.17.7.1.4.2.1.4.0.10", 0b1110_0000),
    bytes("1.3.6.1.2.1.17.7.1.4.2.1.5.0.10", 0b1110_0000),
    text("1.3.6.1.2.1.17.7.1.4.3.1.1.10", "hall"),
    number("1.3.6.1.2.1.17.7.1.2.2.1.2.1.2.0.94.16.1.7", 3),
    number("1.3.6.1.2.1.17.7.1.2.2.1.3.1.2.0.94.16.1.7", 3),
    bytes("1.3.6.1.2.1.17.7.1.2.3.1.2.10.1.0.94.67.10.4", 0b1010_0000),
    bytes("1.3.6.1.2.1.17.7.1.2.4.1.1.10", 0b1000_0000),
    // LLDP: local port 1 announces `1`; its neighbour is known by address, port `24` and name.
    number("1.0.8802.1.1.2.1.3.1.0", 4),
    bytes("1.0.8802.1.1.2.1.3.2.0", 2, 0, 0x5e, 0x10, 0, 0),
    number("1.0.8802.1.1.2.1.3.7.1.2.1", 7),
    text("1.0.8802.1.1.2.1.3.7.1.3.1", "1"),
    number("1.0.8802.1.1.2.1.4.1.1.4.0.1.1", 4),
    bytes("1.0.8802.1.1.2.1.4.1.1.5.0.1.1", 2, 0, 0x5e, 0x20, 0, 0),
    number("1.0.8802.1.1.2.1.4.1.1.6.0.1.1", 7),
    text("1.0.8802.1.1.2.1.4.1.1.7.0.1.1", "24"),
    text("1.0.8802.1.1.2.1.4.1.1.9.0.1.1", "pier-east"),
    bytes("1.0.8802.1.1.2.1.4.1.1.12.0.1.1", 0b0010_0000),
    number("1.0.8802.1.1.2.1.4.2.1.3.0.1.1.1.4.192.0.2.9", 2),
    // MGMD-STD-MIB: the querier on interface 101, and a membership there.
    bytes("1.3.6.1.2.1.185.1.2.1.3.101.1", 192, 0, 2, 1),
    number("1.3.6.1.2.1.185.1.2.1.4.101.1", 125, GAUGE32),
    number("1.3.6.1.2.1.185.1.2.1.6.101.1", 3, GAUGE32),
    number("1.3.6.1.2.1.185.1.4.1.6.1.4.239.195.10.4.101", 26_000, TIME_TICKS),
  ];
}
