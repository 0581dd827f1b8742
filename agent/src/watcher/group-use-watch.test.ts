import { expect, test } from "vitest";
import { GroupUseWatch } from "./group-use-watch.ts";

/** IPv4 without options (RFC 791 3.1) or IPv6 (RFC 8200 3), and a UDP header to `port` (RFC 768). */
function frame(family: 4 | 6, group: readonly number[], port: number, protocol = 17): Uint8Array {
  const bytes = new Uint8Array(80);
  const view = new DataView(bytes.buffer);
  view.setUint16(12, family === 4 ? 0x0800 : 0x86dd);
  if (family === 4) {
    bytes.set([0x45, 0, 0, 66, 0, 0, 0, 0, 1, protocol, 0, 0, 192, 0, 2, 7, ...group], 14);
    view.setUint16(36, port);
  } else {
    bytes.set([0x60, 0, 0, 0, 0, 26, protocol, 1], 14);
    bytes.set([0xfe, 0x80], 22);
    bytes[37] = 7;
    bytes.set(group, 38);
    view.setUint16(56, port);
  }
  return bytes;
}

const watch = new GroupUseWatch(["239.195.10.4", "239.69.3.7", "ff15::8000:4"]);
const take = (bytes: Uint8Array, vlanId = -1): void =>
  watch.take(new DataView(bytes.buffer), bytes, 0, bytes.length, vlanId);

test("group use watch: given frames to the groups and their kin, then each use is told with sender, port and number, and others are not", () => {
  for (let i = 0; i < 3; i++) take(frame(4, [239, 195, 10, 4], 5004));
  take(frame(4, [225, 67, 10, 4], 6000));
  take(frame(4, [239, 69, 81, 4], 5004));
  take(frame(4, [239, 195, 10, 4], 0, 33));
  take(frame(6, [0xff, 0x38, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0x80, 0, 0, 4], 7000));
  take(frame(4, [239, 195, 10, 5], 5004));
  take(frame(4, [239, 195, 10, 4], 5004), 20); // another VLAN's
  expect(watch.snapshot()).toEqual([
    { group: "239.195.10.4", port: 5004, source: "192.0.2.7", frames: 3 },
    { group: "225.67.10.4", port: 6000, source: "192.0.2.7", frames: 1 },
    { group: "239.69.81.4", port: 5004, source: "192.0.2.7", frames: 1 },
    { group: "239.195.10.4", port: null, source: "192.0.2.7", frames: 1 },
    { group: "ff38::8000:4", port: 7000, source: "fe80::7", frames: 1 },
  ]);
  expect(watch.snapshot()).toEqual([]);
});
