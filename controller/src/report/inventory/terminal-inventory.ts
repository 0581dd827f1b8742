import { formatRateBps } from "@dyetrace/wire";
import type {
  Inventory,
  InventoryChange,
  InventoryChanges,
  InventoryGroup,
  InventorySender,
  InventorySummary,
} from "@dyetrace/wire/inventory/inventory-schema";
import { nameAddress, nameAsker, sayCard, sayPacketRate } from "@dyetrace/wire/inventory/inventory-words";
import type { Paint } from "../terminal-paint.ts";
import { dateAndTime } from "../time-of-day.ts";

/** What is on the wire, for a terminal: data first, then what the network's own protocols use. */
export function renderInventory(inventory: Inventory, paint: Paint): string {
  const { groups, agents, queriers, freeGroups, summarised, seenFor, takenAt, id, registry } = inventory;
  const looked = agents.filter(({ lookedMs }) => lookedMs !== null);
  const part = (kind: InventoryGroup["kind"]): string[] =>
    groups.filter((one) => one.kind === kind).flatMap((one) => groupLines(one, paint));
  const [data, control] = [part("data"), part("control")];
  return [
    `Inventory ${id}, ${dateAndTime(takenAt)}: ${looked.length} of ${agents.length} agents looked for ${seenFor}. Nothing was joined or sent.`,
    "",
    paint("Groups with data", "strong"),
    ...(data.length === 0 ? ["  none was seen"] : data),
    "",
    paint("Groups of the network's own protocols and of discovery, which tests leave alone", "strong"),
    ...(control.length === 0 ? ["  none was seen"] : control),
    "",
    ...(queriers.length === 0
      ? ["No query was heard in the look or in the minutes before."]
      : queriers.map(
          ({ protocol, version, address, agent, seenBy }) =>
            `${protocol === "igmp" ? "IGMP" : "MLD"} version ${version} is queried by ${nameAddress(address, agent)}, as ${seenBy.join(", ")} heard.`,
        )),
    ...(freeGroups.length === 0 ? [] : [`Free for a new use: ${freeGroups.join(", ")}.`]),
    ...summarised.map((sentence) => paint(`${sentence}.`, "doubt")),
    paint(`Known uses: ${registry}.`, "quiet"),
    "",
  ].join("\n");
}

function groupLines(
  { group, port, senders, members, askedBy, seenBy, use, remarks }: InventoryGroup,
  paint: Paint,
): string[] {
  const asked = askedBy.filter(({ agent }) => agent === null || !members.includes(agent));
  const rows: readonly (readonly [string, string])[] = [
    ...(senders ?? []).map((one): [string, string] => ["sender", sayInventorySender(one)]),
    ...(members.length === 0 ? [] : [["members", members.join(", ")] as const]),
    ...(asked.length === 0 ? [] : [["asked by", asked.map(nameAsker).join(", ")] as const]),
    ...(seenBy.length === 0 ? [] : [["seen by", seenBy.join(", ")] as const]),
    ...(use === null ? [] : [["use", use] as const]),
  ];
  return [
    `  ${paint(group, "strong")}${port === null ? "" : ` port ${port}`}`,
    ...rows.map(([head, text]) => `    ${head.padEnd(9)}${text}`),
    ...remarks.map((remark) => `    ${paint(`${remark}.`, "doubt")}`),
  ];
}

/** One sender in one line. */
export function sayInventorySender(sender: InventorySender): string {
  const { address, agent, rateBps, packetsPerSecond, leastBytes, mostBytes, ttl, dscp, carries } = sender;
  const size = leastBytes === mostBytes ? `${mostBytes} B` : `${leastBytes} to ${mostBytes} B`;
  return [
    nameAddress(address, agent),
    sayCard(sender),
    formatRateBps(rateBps),
    `${sayPacketRate(packetsPerSecond)} of ${size}`,
    `TTL ${ttl}`,
    `DSCP ${dscp}`,
    carries ?? "format unknown",
  ].join(", ");
}

/** What is new, gone and otherwise, for a terminal. */
export function renderInventoryChanges(changes: InventoryChanges, paint: Paint): string {
  const { appeared, gone, changed, doubts, sinceTakenAt, since } = changes;
  const part = (head: string, list: readonly InventoryChange[]): string[] =>
    list.length === 0
      ? []
      : [
          paint(head, "strong"),
          ...list.map(
            ({ group, port, what }) => `  ${group}${port === null ? "" : ` port ${port}`}: ${what.join("; ")}`,
          ),
        ];
  const isSame = appeared.length + gone.length + changed.length === 0;
  return [
    `Since inventory ${since} of ${dateAndTime(sinceTakenAt)}:`,
    ...(isSame ? ["nothing is new, gone or different."] : []),
    ...part("New", appeared),
    ...part("Gone", gone),
    ...part("Different", changed),
    ...doubts.map((doubt) => paint(`${doubt}.`, "doubt")),
    "",
  ].join("\n");
}

/** Inventories, a line each. */
export function renderInventories(list: readonly InventorySummary[]): string {
  if (list.length === 0) return "No inventory was taken yet: `dyetrace inventory` takes one.\n";
  return list
    .map(({ id, takenAt, seenForMs, state, agents, groups }) => {
      const what =
        state === "done"
          ? `${groups} groups, ${agents} agents`
          : state === "looking"
            ? "the agents are looking"
            : "failed";
      return `${id}  ${dateAndTime(takenAt)}  ${seenForMs / 1000} s  ${what}\n`;
    })
    .join("");
}
