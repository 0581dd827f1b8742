import type { GroupRecord, MembershipMessage } from "@dyetrace/wire";

/** What a message makes of one host's membership: `join` also stands for "still a member". */
export type MembershipEffect = "join" | "leave";

/**
 * What an own message on the wire says about one membership of the host that sent it.
 * @param source address of a source-specific membership, null for any source
 * @returns null when the message says nothing about this membership
 * @see RFC 3376, sections 4.2.12 and 5.1; RFC 3810, sections 5.2.12 and 6.1
 */
export function membershipEffect(
  message: MembershipMessage,
  group: string,
  source: string | null,
): MembershipEffect | null {
  if (message.kind === "leave") return message.group === group ? "leave" : null;
  if (message.kind !== "report") return null;
  let effect: MembershipEffect | null = null;
  for (const record of message.records) {
    if (record.group === group) effect = recordEffect(record, source) ?? effect;
  }
  return effect;
}

function recordEffect(record: GroupRecord, source: string | null): MembershipEffect | null {
  const isListed = source !== null && record.sources.includes(source);
  switch (record.type) {
    case "IS_EX":
    case "TO_EX":
      return source === null || !isListed ? "join" : "leave";
    case "TO_IN":
      return isListed ? "join" : "leave";
    case "IS_IN":
      return isListed ? "join" : null; // the answer to a group-and-source query lists only what was asked for
    case "ALLOW":
      return isListed ? "join" : null;
    case "BLOCK":
      return isListed ? "leave" : null;
    case "unknown":
      return null;
  }
}
