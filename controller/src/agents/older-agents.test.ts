import {
  AGENT_OLDEST_PROTOCOL,
  AgentMessageSchema,
  CONTROL_OLDEST_PROTOCOL,
  CONTROL_PROTOCOL,
  commonProtocol,
  DEFAULT_GUARDS,
  parseMessage,
} from "@dyetrace/wire";
import { expect, test } from "vitest";
import { helloOf } from "../../../tests/faults/stranger.ts";
import { completeHello, completeMessage } from "./older-agents.ts";

test("completeHello: given the hello of an agent that knows no companions, then none of its hosts may get one, and it is well formed", () => {
  const hello = structuredClone(helloOf("kiosk", "k")) as unknown as {
    protocol: number;
    capabilities: { guards: Record<string, unknown> };
  };
  hello.protocol = 2;
  delete hello.capabilities.guards["companionHosts"];
  expect(() => parseMessage(AgentMessageSchema, hello, "It")).toThrow();
  const whole = parseMessage(AgentMessageSchema, completeHello(hello, 2), "It");
  const { companionHosts: _none, ...guards } = { ...DEFAULT_GUARDS, allowSending: true };
  expect(whole).toMatchObject({ capabilities: { guards: { ...guards, companionHosts: [] } } });
  expect(completeHello(hello, 3)).toBe(hello);
});

test("commonProtocol: given what each side speaks, then the newest of both, and null where there is none", () => {
  expect(commonProtocol(CONTROL_PROTOCOL, CONTROL_OLDEST_PROTOCOL)).toBe(CONTROL_PROTOCOL);
  expect(commonProtocol(CONTROL_PROTOCOL + 3, CONTROL_PROTOCOL)).toBe(CONTROL_PROTOCOL);
  expect(commonProtocol(CONTROL_OLDEST_PROTOCOL, CONTROL_OLDEST_PROTOCOL)).toBe(CONTROL_OLDEST_PROTOCOL);
  expect(commonProtocol(CONTROL_PROTOCOL + 3, CONTROL_PROTOCOL + 1)).toBeNull();
  expect(commonProtocol(CONTROL_OLDEST_PROTOCOL - 1, 1)).toBeNull();
});

test("commonProtocol: given a controller of protocol 3, then an agent of this build does not speak with it: it would not understand its reports", () => {
  expect(commonProtocol(3, 3, AGENT_OLDEST_PROTOCOL)).toBeNull();
  expect(commonProtocol(CONTROL_PROTOCOL, CONTROL_PROTOCOL, AGENT_OLDEST_PROTOCOL)).toBe(CONTROL_PROTOCOL);
});

test("completeMessage: given a report that leaves out what is at rest, then it is well formed; given another message, then it is the same", () => {
  const report = { fromNs: 0, toNs: 1e9, listeners: [], senders: [], host: {}, sourcesStopped: null, totals: null };
  const ids = {
    runId: "0123456789abcdef",
    stint: "0123456789abcdef",
    firstNumber: 1,
    lastNumber: 1,
    droppedReports: 0,
  };
  const message = { kind: "report", ...ids, report, watch: null, isFinal: false };
  expect(() => parseMessage(AgentMessageSchema, message, "It")).toThrow();
  const whole = parseMessage(AgentMessageSchema, completeMessage(message), "It");
  expect(whole).toMatchObject({ ...ids, report: { host: { softnetDropped: 0, linkChanges: 0 } } });
  const ask = { kind: "clock-ask", id: 1 };
  expect(completeMessage(ask)).toBe(ask);
  for (const other of [null, 7, {}, { kind: "report" }]) expect(() => completeMessage(other)).not.toThrow();
});
