import type { IntervalReport } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { packBody, unpackBody } from "./pack-body.ts";
import { packJson } from "./pack-json.ts";

const HOST = {
  udpRcvbufErrors: 0,
  udpInErrors: 2,
  udp6RcvbufErrors: 0,
  udp6InErrors: 0,
  interfaceRxDropped: null,
  interfaceRxErrors: 0,
  interfaceTxDropped: 0,
  interfaceTxErrors: 0,
  softnetDropped: 0,
  linkChanges: 0,
  wallClockSteps: 0,
};
const REPORT: IntervalReport = {
  fromNs: 0,
  toNs: 1e9,
  listeners: [],
  senders: [],
  host: HOST,
  sourcesStopped: null,
  totals: null,
};

test("packBody: given a body, then unpackBody gives it back; given a row of an earlier version, then it comes out the same", () => {
  const body = { report: REPORT, watch: null };
  expect(unpackBody(packBody(body))).toEqual(body);
  expect(unpackBody(packJson(body))).toEqual(body);
  expect(packBody(body).length).toBeLessThan(packJson(body).length);
});
