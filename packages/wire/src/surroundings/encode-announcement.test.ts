import { expect, test } from "vitest";
import { decodeAnnouncement } from "./decode-announcement.ts";
import { encodeAnnouncement, type OwnAnnouncement } from "./encode-announcement.ts";

const own: OwnAnnouncement = {
  ...{ mac: "02:00:5e:10:00:01", interfaceName: "eth0", interfaceIndex: 7 },
  ...{ systemName: "kiosk-1", systemDescription: "A host", addresses: ["192.0.2.17", "2001:db8::11"] },
};
const hex = (bytes: Uint8Array): string => [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");

test("encodeAnnouncement: given a host, then the frame is what IEEE 802.1AB lays out, octet by octet", () => {
  // By hand after 8.4 to 8.5.9 and table 8-4.
  expect(hex(encodeAnnouncement({ ...own, addresses: ["192.0.2.17"] }, 121))).toBe(
    [
      ...["0180c200000e", "02005e100001", "88cc"],
      ...["0207", "04", "02005e100001"],
      ...["0405", "05", "65746830"],
      ...["0602", "0079"],
      ...["0a07", "6b696f736b2d31"],
      ...["0c06", "4120686f7374"],
      ...["0e04", "0080", "0080"],
      ...["100c", "05", "01", "c0000211", "02", "00000007", "00"],
      "0000",
    ].join(""),
  );
});

test("encodeAnnouncement: given what it made, then the decoder of what others announce reads the same", () => {
  expect(decodeAnnouncement(encodeAnnouncement(own, 121))).toMatchObject({
    ...{ source: own.mac, chassis: own.mac, portId: "eth0", ttlS: 121, systemName: "kiosk-1" },
    ...{ capabilities: ["station"], addresses: own.addresses },
  });
});

test("encodeAnnouncement: given its end, then it has nothing but chassis, port and a time of 0, in a frame that is long enough", () => {
  const frame = encodeAnnouncement(own, 0);
  expect(decodeAnnouncement(frame)).toMatchObject({ chassis: own.mac, ttlS: 0, systemName: null, addresses: [] });
  expect(frame.length).toBe(60); // IEEE 802.3, without the check sequence
});

test("encodeAnnouncement: given a name of any length and letters, then no part is longer than it may be", () => {
  const frame = encodeAnnouncement({ ...own, systemName: "ß".repeat(600) }, 121);
  expect(decodeAnnouncement(frame)?.systemName).toBe("?".repeat(255));
});
