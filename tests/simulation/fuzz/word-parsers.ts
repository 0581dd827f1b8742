import { generateKeyPairSync, sign } from "node:crypto";
import { parseSubnet } from "@dyetrace/site";
import {
  formatIpAddress,
  parseAddressRange,
  parseDurationNs,
  parseInstantMs,
  parseIpAddress,
  parsePortRange,
  parseRateBps,
  parseRatio,
  parseSizeBytes,
} from "@dyetrace/wire";
import { checkStatement, signedWords } from "../../../agent/src/control/signed-package.ts";
import { groupArgument } from "../../../agent/src/standalone/group-argument.ts";
import { findNftDrop } from "../../../agent/src/watcher/host-block/nft-verdict.ts";
import { networkOfAddress } from "../../../controller/src/access/network-of.ts";
import { sessionSecrets } from "../../../controller/src/access/session-cookie.ts";
import { chainOn, checkChain } from "../../../controller/src/audit/audit-chain.ts";
import { parseListen } from "../../../controller/src/commands/arguments/parse-listen.ts";
import { nextTimeOfDay } from "../../../controller/src/commands/arguments/time-of-day.ts";
import { readLostNumbers } from "../../../controller/src/intake/lost-numbers.ts";
import { parseRoute } from "../../../packages/console/src/state/parse-route.ts";
import { parseLinkText } from "../../../packages/site/src/model/link-text.ts";
import { drawOne, type Random } from "../seeded-random.ts";
import { mutateJson, mutateText } from "./mutate.ts";
import type { Parser } from "./parser.ts";

const finite = (value: number): void => {
  if (!Number.isFinite(value)) throw new Error(`It was taken for ${value}`);
};

/** Each with a text that it takes. */
const WORDS: readonly (readonly [text: string, take: (text: string) => void])[] = [
  ["30s", (text) => finite(parseDurationNs(text))],
  ["8 Mbit/s", (text) => finite(parseRateBps(text))],
  ["1316 B", (text) => finite(parseSizeBytes(text))],
  ["0.01 %", (text) => finite(parseRatio(text))],
  ["2026-11-25T22:00:00+01:00", (text) => finite(parseInstantMs(text, "startAt"))],
  ["22:00", (text) => finite(nextTimeOfDay(text, 1.7e12, "--at"))],
  ["239.195.0.0/16", (text) => void parseAddressRange(text)],
  ["2001:db8::1:2/64", (text) => void parseAddressRange(text)],
  ["5000-6000", (text) => void parsePortRange(text)],
  ["192.0.2.0/24", (text) => void parseSubnet(text)],
  ["core:1 -- pier-east:24", (text) => void parseLinkText(text)],
  ["239.195.10.4", (text) => void groupArgument(text)],
  ["[::1]:8472", (text) => void parseListen(text)],
  ["::ffff:192.0.2.1", (text) => void networkOfAddress(text)],
  ["fe80::1%eth0", (text) => void networkOfAddress(text)],
  ["400-449 812", (text) => void readLostNumbers(text)],
  ["#/runs/0123abcd?against=0123abce", (text) => void parseRoute(text)],
  [
    "Bearer abc-DEF_0",
    (text) => void sessionSecrets({ headers: { authorization: text }, cookies: {}, protocol: "http" } as never),
  ],
  [
    "ff15::10:4",
    (text) => {
      // What is an address has one form, and that form is the same address.
      const address = parseIpAddress(text);
      if (address === null) return;
      const again = parseIpAddress(formatIpAddress(address.bytes));
      if (again === null || !again.bytes.every((byte, at) => byte === address.bytes[at])) {
        throw new Error(`${text} does not come back`);
      }
    },
  ],
];

const maintainer = generateKeyPairSync("ed25519");
const KEY = maintainer.publicKey.export({ format: "der", type: "spki" }).subarray(-32).toString("base64");
const FACTS = { version: "0.2.0", sha256: "ab".repeat(32) };
const STATEMENT = { ...FACTS, signature: sign(null, signedWords(FACTS), maintainer.privateKey).toString("base64") };
const TRUST = { keys: [KEY], allowsDowngrade: false, ownVersion: "0.1.9" };

const chained = [chainOn(null, { at: "2026-11-25T22:00:00.000Z", who: "anna", from: "192.0.2.1", what: "signed in" })];
chained.push(
  chainOn(chained[0] ?? null, { at: "2026-11-25T22:01:00.000Z", who: "anna", from: "192.0.2.1", what: "signed out" }),
);
const AUDIT = chained.map((entry) => JSON.stringify(entry)).join("\n");

/** As `nft -j list ruleset` prints one (libnftables-json(5)). */
const RULESET = {
  nftables: [
    { metainfo: { version: "1.0.6", json_schema_version: 1 } },
    { table: { family: "inet", name: "filter", handle: 1 } },
    {
      chain: {
        family: "inet",
        table: "filter",
        name: "input",
        handle: 1,
        type: "filter",
        hook: "input",
        prio: 0,
        policy: "accept",
      },
    },
    { chain: { family: "inet", table: "filter", name: "more", handle: 2 } },
    {
      set: {
        family: "inet",
        table: "filter",
        name: "groups",
        type: "ipv4_addr",
        elem: ["239.195.10.4", { prefix: { addr: "239.1.0.0", len: 16 } }, { range: ["239.2.0.1", "239.2.0.9"] }],
      },
    },
    {
      rule: {
        family: "inet",
        table: "filter",
        chain: "input",
        handle: 3,
        expr: [
          { match: { op: "==", left: { payload: { protocol: "ip", field: "daddr" } }, right: "@groups" } },
          { jump: { target: "more" } },
        ],
      },
    },
    {
      rule: {
        family: "inet",
        table: "filter",
        chain: "more",
        handle: 4,
        expr: [
          {
            match: {
              op: "==",
              left: { payload: { protocol: "udp", field: "dport" } },
              right: { set: [5000, { range: [48_000, 49_000] }] },
            },
          },
          { counter: { packets: 0, bytes: 0 } },
          { drop: null },
        ],
      },
    },
  ],
};
const PACKET = {
  direction: "in",
  family: 4,
  interfaceName: "eth0",
  source: "192.0.2.1",
  destination: "239.195.10.4",
  protocol: "udp",
  destinationPort: 48_620,
} as const;

export const WORD_PARSERS: readonly Parser[] = [
  {
    name: "quantities, addresses, instants and other words",
    share: 12,
    make: (random: Random) => {
      const [text, take] = drawOne(random, WORDS);
      return { text: mutateText(text, random), take };
    },
    take: (made) => {
      const { text, take } = made as { text: string; take: (text: string) => void };
      take(text);
    },
  },
  {
    name: "statements on packages",
    share: 1,
    make: (random) =>
      random() < 0.5 ? mutateText(JSON.stringify(STATEMENT), random) : JSON.stringify(mutateJson(STATEMENT, random)),
    take: (made) => {
      const said = checkStatement(made as string, TRUST);
      if (said.version !== FACTS.version || said.sha256 !== FACTS.sha256)
        throw new Error("It takes what nobody signed");
    },
  },
  {
    name: "audit files",
    share: 2,
    make: (random) => mutateText(AUDIT, random),
    take: (made) => {
      const lines = (made as string).split("\n").filter((line) => line !== "");
      checkChain(lines);
    },
  },
  {
    name: "rules of a firewall",
    share: 2,
    make: (random) => mutateJson(RULESET, random),
    take: (made) => void findNftDrop(made, PACKET, () => null),
  },
];
