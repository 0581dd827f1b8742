import { expect, test } from "vitest";
import { type LintStream, lintGroups } from "./lint-groups.ts";

const stream = (group: string, more: Partial<LintStream> = {}): LintStream => ({
  name: group,
  group,
  ttl: 1,
  isSourceSpecific: false,
  mostRouters: null,
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
  expect(codesOf("239.195.10.4", { mostRouters: 1 })).toEqual(["warn ttl-too-small"]);
  expect(codesOf("239.195.10.4", { mostRouters: 1, ttl: 8 })).toEqual([]);
  expect(codesOf("ff13::8000:1", { mostRouters: 1, ttl: 8 })).toEqual(["warn scope-too-small"]);
  expect(codesOf("ff13::8000:1", { mostRouters: 0 })).toEqual([]);
  expect(codesOf("ff15::8000:1", { mostRouters: 1, ttl: 8 })).toEqual([]);
});

test("lintGroups: given a listener beyond two routers, then the TTL that gets there is named", () => {
  expect(codesOf("239.195.10.4", { mostRouters: 2, ttl: 2 })).toEqual(["warn ttl-too-small"]);
  expect(codesOf("239.195.10.4", { mostRouters: 2, ttl: 3 })).toEqual([]);
  const [advice] = lintGroups([stream("239.195.10.4", { mostRouters: 2, ttl: 2 })]);
  expect(advice?.sentence).toContain("TTL of at least 3");
});

// RFC 5771 section 4: never forwarded, regardless of TTL. RFC 4291 section 2.7: ff01 and ff02.
test.each(["224.0.0.251", "224.0.0.1", "ff02::fb", "ff12::8000:1", "ff11::8000:1"])(
  "lintGroups: given %s and a listener beyond a router, then no TTL is advised",
  (group) => {
    for (const ttl of [1, 8]) {
      const advice = lintGroups([stream(group, { mostRouters: 1, ttl })]);
      expect(advice.map(({ code }) => code)).toContain("scope-too-small");
      expect(advice.map(({ code }) => code)).not.toContain("ttl-too-small");
      expect(advice.map(({ sentence }) => sentence).join(" ")).not.toMatch(/raise the TTL|TTL of at least/);
    }
  },
);

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

test("lintGroups: given a group of the range that audio devices take by default, then it is warned of", () => {
  expect(lintGroups([stream("239.69.10.4")]).map(({ level, code }) => [level, code])).toEqual([
    ["warn", "audio-range"],
  ]);
  for (const group of ["239.68.255.254", "239.70.1.1"]) {
    expect(lintGroups([stream(group)]).map(({ level, code }) => [level, code])).toEqual([["note", "unassigned-scope"]]);
  }
});
