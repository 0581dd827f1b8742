import { Fault, type FilePlace, parseIpAddress } from "@dyetrace/wire";
import { MOST_DEVICE_GROUPS } from "@dyetrace/wire/devices/device-limits";
import type { DeviceGroup } from "@dyetrace/wire/devices/device-reading";

const COLUMNS = ["port", "vlan", "group"] as const;
type ColumnName = (typeof COLUMNS)[number];
const MOST_LINES = 65_536;
const ETHERNET_GROUP = /^01(:[0-9a-f]{2}){5}$|^33:33(:[0-9a-f]{2}){4}$/;

/**
 * Reads a group table that somebody copied from a switch's own display: a line for each port and group, with commas, semicolons or
 * tabs between (RFC 4180 without line breaks in fields). The first line names the columns, port, VLAN and group in any order; the
 * VLAN may be left out or empty.
 * @throws {Fault} OPTION_INVALID with the line
 */
export function readPastedTable(text: string, file: string): readonly DeviceGroup[] {
  const lines = text.replace(/^\ufeff/, "").split(/\r?\n/);
  const fail = (line: number, message: string, hint: string): never => {
    const place: FilePlace = { file, line, column: 1 };
    throw new Fault("OPTION_INVALID", message, hint, { place });
  };
  if (lines.length > MOST_LINES)
    fail(MOST_LINES, `The table has more than ${MOST_LINES} lines`, "Give the test's groups");
  const [head = ""] = lines;
  const separator = /[,;\t]/.exec(head)?.[0] ?? ",";
  const names = fieldsOf(head, separator).map((name) => name.toLowerCase());
  const at = (name: ColumnName): number => names.indexOf(name);
  if (at("port") < 0 || at("group") < 0) {
    fail(1, "The first line does not name the columns port and group", "Begin with `port,vlan,group`");
  }
  const found = new Map<string, { readonly vlan: number | null; readonly group: string; readonly ports: string[] }>();
  for (const [index, line] of lines.entries()) {
    if (index === 0 || line.trim() === "") continue;
    const fields = fieldsOf(line, separator);
    const port = fields[at("port")] ?? "";
    const group = (fields[at("group")] ?? "").toLowerCase();
    const vlanText = at("vlan") < 0 ? "" : (fields[at("vlan")] ?? "");
    if (port === "" || port.length > 255) fail(index + 1, "A port's name is missing", "Write it as the plan has it");
    if (!isGroup(group)) {
      fail(index + 1, `"${group.slice(0, 60)}" is no group`, "Write one such as 239.195.10.4 or 01:00:5e:43:0a:04");
    }
    const vlan = vlanText === "" ? null : Number(vlanText);
    if (vlan !== null && !(Number.isInteger(vlan) && vlan >= 1 && vlan <= 4094)) {
      fail(index + 1, `"${vlanText.slice(0, 60)}" is no VLAN`, "VLANs go from 1 to 4094");
    }
    const key = `${vlan} ${group}`;
    const row = found.get(key) ?? { vlan, group, ports: [] };
    if (!row.ports.includes(port)) row.ports.push(port);
    found.set(key, row);
  }
  if (found.size > MOST_DEVICE_GROUPS)
    fail(1, `The table has more than ${MOST_DEVICE_GROUPS} groups`, "Give the test's");
  return [...found.values()];
}

const fieldsOf = (line: string, separator: string): string[] =>
  line.split(separator).map((field) =>
    field
      .trim()
      .replace(/^"(.*)"$/, "$1")
      .trim(),
  );

function isGroup(text: string): boolean {
  if (ETHERNET_GROUP.test(text)) return true;
  const bytes = parseIpAddress(text)?.bytes;
  return bytes !== undefined && (bytes.length === 4 ? ((bytes[0] ?? 0) & 0xf0) === 0xe0 : bytes[0] === 0xff);
}
