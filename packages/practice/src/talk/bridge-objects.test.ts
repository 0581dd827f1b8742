import { loadSitePlan } from "@dyetrace/site";
import { expect, test } from "vitest";
import { layPracticeSite } from "../layout/practice-layout.ts";
import { type BridgeState, bridgeObjects } from "./bridge-objects.ts";
import { formatOid, OidRows, parseOid } from "./oid-rows.ts";
import { lldpdText } from "./talker-files.ts";
import { type Talker, talkersOf } from "./talkers.ts";

const PLAN = `
site: Quillfen
vlans: { 10: { querier: core }, 20: { querier: core } }
nodes: { core: { kind: switch }, edge: { kind: switch, announces: false }, tower: { kind: host }, kiosk: { kind: host } }
links:
  - { between: [core:1, edge:24], vlan: [10, 20] }
  - { between: [core:9, tower:eth0], vlan: 10 }
  - { between: [edge:1, kiosk:eth0], vlan: 20 }
`;
const [core] = talkersOf(layPracticeSite(loadSitePlan(PLAN, "plan.yaml"), null)) as [Talker];

const STATE: BridgeState = {
  fdb: [
    { mac: "02:77:00:05:00:00", ifname: "p9", master: "br10", state: "" },
    { mac: "02:77:00:00:00:01", ifname: "p9", master: "br10", state: "permanent" },
    { mac: "33:33:00:00:00:01", ifname: "p9", flags: ["self"], state: "permanent" },
  ],
  mdb: [
    { dev: "br10", port: "p9", grp: "239.124.0.7" },
    { dev: "br10", port: "p1.10", grp: "233.252.0.7" },
    { dev: "br10", port: "br10", grp: "233.252.0.9" },
  ],
  routerPorts: { br10: [{ port: "p1.10" }] },
  links: [{ ifname: "p9", state: "forwarding" }],
  addresses: new Map([["br10", "02:77:00:00:00:00"]]),
};
const rows = new OidRows(bridgeObjects(core, STATE));
const value = (oid: string): string | undefined => rows.get(parseOid(oid))?.value;

test("talkersOf: given a switch that the plan keeps silent, then only the others talk", () => {
  expect(talkersOf(layPracticeSite(loadSitePlan(PLAN, "plan.yaml"), null)).map(({ name }) => name)).toEqual(["core"]);
  expect(core.ports.map(({ interfaceName, port, isTrunk }) => [interfaceName, port, isTrunk])).toEqual([
    ["p1.10", "1", true],
    ["p9", "9", false],
    ["p1.20", "1", true],
  ]);
});

// Numbers of the objects: RFC 4188 and RFC 4363; PortList: RFC 4363, section 2 ("the first octet specifies ports 1 through 8").
test("bridgeObjects: given what the kernel has, then forwarding and group tables stand under their VLAN", () => {
  expect(value("1.3.6.1.2.1.17.7.1.2.2.1.2.10.2.119.0.5.0.0")).toBe("2");
  expect(value("1.3.6.1.2.1.17.7.1.2.2.1.3.10.2.119.0.5.0.0")).toBe("3"); // learned
  expect(value("1.3.6.1.2.1.17.7.1.2.2.1.3.10.2.119.0.0.0.1")).toBe("4"); // self
  expect(value("1.3.6.1.2.1.17.2.15.1.3.2")).toBe("5"); // forwarding
  // 233.252.0.7 and 239.124.0.7 have one Ethernet address (RFC 1112, section 6.4): ports 1 and 2.
  expect(value("1.3.6.1.2.1.17.7.1.2.3.1.2.10.1.0.94.124.0.7")).toBe("c0");
  expect(value("1.3.6.1.2.1.17.7.1.2.3.1.2.10.1.0.94.124.0.9")).toBeUndefined(); // the switch's own
  expect(value("1.3.6.1.2.1.17.7.1.2.4.1.1.10")).toBe("80");
  expect([value("1.3.6.1.2.1.17.7.1.4.2.1.4.0.10"), value("1.3.6.1.2.1.17.7.1.4.2.1.5.0.10")]).toEqual(["c0", "40"]);
});

test("OidRows: given a walk, then every object comes once, in the order of numbers and not of text", () => {
  const seen: string[] = [];
  for (let oid = parseOid("1.3.6.1.2.1.17"); ; ) {
    const row = rows.next(oid);
    if (row === null) break;
    seen.push(formatOid(row.oid));
    oid = [...row.oid];
  }
  expect(new Set(seen).size).toBe(seen.length);
  expect(seen[0]).toBe(".1.3.6.1.2.1.17.1.1.0");
  expect(new OidRows([9, 10].map((n) => ({ oid: [1, n], type: "integer", value: "0" }))).next([1, 9])?.oid).toEqual([
    1, 10,
  ]);
});

// IEEE 802.1Q, annex D: subtype 1 is the VLAN of untagged frames, subtype 3 names one whose frames are tagged.
test("lldpdText: given a trunk and a host's port, then the one names its VLAN and the other gives it as untagged", () => {
  const lines = lldpdText(core).split("\n");
  expect(lines).toContain("configure ports p9 lldp custom-tlv add oui 00,80,c2 subtype 1 oui-info 00,0a");
  expect(lines).toContain(
    "configure ports p1.20 lldp custom-tlv add oui 00,80,c2 subtype 3 oui-info 00,14,07,56,4c,41,4e,20,32,30",
  );
  expect(lines).toContain("configure ports p1.20 lldp portidsubtype local 1");
});
