import type { GroupRecord, MembershipMessage } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { AskBook } from "./ask-book.ts";

type Leave = Extract<MembershipMessage, { readonly kind: "leave" }>;
const ENVELOPE: Omit<Leave, "kind" | "protocol" | "version" | "checksum" | "group"> = {
  ...{ family: 4, sourceMac: "02:00:00:00:00:01", destinationMac: "01:00:5e:00:00:16", vlanId: null },
  ...{ source: "192.0.2.1", destination: "224.0.0.22", ttlHops: 1, hasRouterAlert: true },
};
const report = (records: readonly GroupRecord[], checksum: "good" | "bad" = "good"): MembershipMessage => ({
  ...ENVELOPE,
  ...{ kind: "report", protocol: "igmp", version: 3, checksum, records, hasExtension: false },
});
const record = (type: GroupRecord["type"], group: string, sources: readonly string[] = []): GroupRecord => ({
  type,
  group,
  sources,
});

test("ask book: given records of RFC 3376 section 4.2.12, then who wants a group and who left it is told, with the latest word", () => {
  const book = new AskBook();
  book.take(
    report([record("IS_EX", "239.1.1.1"), record("TO_IN", "239.1.1.2"), record("ALLOW", "232.1.1.3", ["192.0.2.9"])]),
    -5e9,
  );
  book.take(report([record("BLOCK", "239.1.1.1", ["192.0.2.9"])]), 1e9); // says nothing about the membership as such
  book.take(report([record("IS_EX", "239.1.1.4")], "bad"), 1e9); // nobody heeds it
  book.take({ ...ENVELOPE, kind: "leave", protocol: "igmp", version: 2, checksum: "good", group: "239.1.1.5" }, 2e9);
  expect(book.asks(3e9).map(({ group, isWanted, agoNs }) => [group, isWanted, agoNs])).toEqual([
    ["239.1.1.1", true, 8e9],
    ["239.1.1.2", false, 8e9],
    ["232.1.1.3", true, 8e9],
    ["239.1.1.5", false, 1e9],
  ]);
});

test("ask book: given more than it has room for, then what is beyond is counted, and what it has is kept up", () => {
  const book = new AskBook(2);
  for (const last of [1, 2, 3, 1]) book.take(report([record("TO_EX", `239.1.1.${last}`)]), last * 1e9);
  expect(book.asks(4e9).map(({ group }) => group)).toEqual(["239.1.1.1", "239.1.1.2"]);
  expect(book.further).toBe(1);
});
