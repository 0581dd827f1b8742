import { expect, test } from "vitest";
import { type LintStream, lintGroups } from "./lint-groups.ts";

const stream = (group: string, more: Partial<LintStream> = {}): LintStream => ({
  name: group,
  group,
  ttl: 1,
  isSourceSpecific: false,
  crossesRouter: null,
  ...more,
});
const codesOf = (group: string, more: Partial<LintStream> = {}): string[] =>
  lintGroups([stream(group, more)]).map(({ level, code }) => `${level} ${code}`);

// The ranges themselves are held to the RFCs in tests/conformance/group-address.test.ts.
test.each([
  ["239.195.10.4", []],
  ["239.192.5.5", []],
  ["ff15::8000:1", []],
  ["ff18::1:2345", []],
])("lintGroups: given %s, which a site may choose for itself, then there is nothing to say", (group, expected) => {
  expect(codesOf(group)).toEqual(expected);
});

test("lintGroups: given a source-specific group, then it must be joined with a source", () => {
  expect(codesOf("232.1.2.3", { isSourceSpecific: true })).toEqual([]);
  expect(codesOf("232.1.2.3")).toEqual(["warn ssm-without-source"]);
  expect(codesOf("ff35::8000:1", { isSourceSpecific: true })).toEqual([]);
  expect(codesOf("239.195.10.4", { isSourceSpecific: true })).toEqual(["note source-outside-ssm"]);
});

test("lintGroups: given a listener beyond a router, then TTL 1 and narrow scopes are too small", () => {
  expect(codesOf("239.195.10.4", { crossesRouter: true })).toEqual(["warn ttl-too-small"]);
  expect(codesOf("239.195.10.4", { crossesRouter: true, ttl: 8 })).toEqual([]);
  expect(codesOf("ff13::8000:1", { crossesRouter: true, ttl: 8 })).toEqual(["warn scope-too-small"]);
  expect(codesOf("ff13::8000:1", { crossesRouter: false })).toEqual([]);
  expect(codesOf("ff15::8000:1", { crossesRouter: true, ttl: 8 })).toEqual([]);
});

test("lintGroups: given two groups of one Ethernet address, then both streams are named once", () => {
  const advice = lintGroups([
    stream("239.193.2.3", { name: "a" }),
    stream("239.194.9.9", { name: "b" }),
    stream("239.65.2.3", { name: "c" }),
  ]).filter((one) => one.code === "shared-mac");
  expect(advice).toHaveLength(1);
  expect(advice[0]).toMatchObject({ level: "warn", streams: ["a", "c"], reference: "RFC 1112 section 6.4" });
  expect(advice[0]?.sentence).toContain("01:00:5e:41:02:03");
});

test("lintGroups: given two IPv6 groups that end in the same 32 bits, then they share an Ethernet address", () => {
  const advice = lintGroups([stream("ff15::1:8000:1"), stream("ff15::2:8000:1")]);
  expect(advice.map(({ code, reference }) => [code, reference])).toEqual([["shared-mac", "RFC 2464 section 7"]]);
});

test("lintGroups: given two streams of one group, then it is a note, and what is said of the group is said once", () => {
  const advice = lintGroups([stream("239.255.1.1", { name: "a" }), stream("239.255.1.1", { name: "b" })]);
  expect(advice.map(({ level, code, streams }) => [level, code, streams])).toEqual([
    ["refuse", "local-scope", ["a", "b"]],
    ["note", "shared-group", ["a", "b"]],
  ]);
});

test("lintGroups: given an IPv6 group whose id is small, then its Ethernet address is one that is flooded", () => {
  expect(codesOf("ff15::1")).toEqual(["refuse reserved-mac"]);
  expect(codesOf("ff15::ff")).toEqual(["refuse reserved-mac"]);
  expect(codesOf("ff15::100")).toEqual([]);
  expect(codesOf("ff15::ff0e:8c6c")).toEqual(["warn reserved-mac"]);
});

test("lintGroups: given flags that contradict each other, then it says which", () => {
  expect(lintGroups([stream("ff25::8000:1")])[0]).toMatchObject({
    code: "flags-invalid",
    reference: "RFC 3306 section 4",
  });
  expect(lintGroups([stream("ff55::8000:1")])[0]).toMatchObject({
    code: "flags-invalid",
    reference: "RFC 3956 section 3",
  });
});

test("lintGroups: given text that is no address, then it throws", () => {
  expect(() => lintGroups([stream("239.195.10")])).toThrow(RangeError);
});
