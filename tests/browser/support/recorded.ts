import { readFileSync } from "node:fs";
import { gunzipSync } from "node:zlib";
import type { RunReport } from "@dyetrace/wire";

const plan = (path: string): string => readFileSync(new URL(`../../../${path}`, import.meta.url), "utf8");
const QUILLFEN = plan("packages/practice/demo/quillfen.yaml");
const VLANS = plan("packages/practice/demo/quillfen-vlans.yaml");
const RING = plan("tests/field/support/ring.yaml");

/**
 * Runs of practice sites on 29 November 2026, by `dyetrace practice run PLAN SCENARIO --fault FILE --json FILE`: one stream
 * to everybody for 6 s or 15 s. What was wrong stands beside each.
 */
const RECORDED = {
  /** Everything of VLAN 20 is lost on `core:1>pier-east:24`. */
  "vlans-stop": VLANS,
  /** Everything is lost there, of each VLAN. */
  "vlans-core": VLANS,
  /** `router-b` forwards nothing. */
  "vlans-rb": VLANS,
  "ring-ok": RING,
  /** `rc` forwards nothing. */
  "ring-rc": RING,
  /** `pier-east` and one port of `pier-west` send on what nobody there joined. */
  leak: QUILLFEN,
  /** The firewall of `kiosk-1` drops UDP. */
  block: QUILLFEN,
  /** A quarter of the packets is lost on `core:2>pier-west:24`. */
  gaps: QUILLFEN,
  /** All is lost there from 4 s to 5 s, and on `core:3>hall:24` from 8 s to 9.5 s. */
  outages: QUILLFEN,
} as const;

export type RecordedName = keyof typeof RECORDED;

const reports = JSON.parse(
  gunzipSync(readFileSync(new URL("../recordings/reports.json.gz", import.meta.url))).toString("utf8"),
) as Readonly<Record<RecordedName, RunReport>>;

export const recorded = (name: RecordedName): { readonly plan: string; readonly report: RunReport } => ({
  plan: RECORDED[name],
  report: reports[name],
});
