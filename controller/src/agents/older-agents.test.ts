import {
  AGENT_OLDEST_PROTOCOL,
  AgentMessageSchema,
  CONTROL_OLDEST_PROTOCOL,
  CONTROL_PROTOCOL,
  commonProtocol,
  parseMessage,
} from "@dyetrace/wire";
import { expect, test } from "vitest";
import { helloOf } from "../../../tests/faults/stranger.ts";
import { completeHello, completeMessage } from "./older-agents.ts";

const NONE_OF_THESE = {
  allowSending: true,
  allowedReservedGroups: ["224.0.0.0/4", "ff00::/8"],
  maxJoins: 4096,
  allowedPorts: ["1-65535"],
};
const SINCE_5 = [
  "allowedReservedGroups",
  "allowedPorts",
  "companionPorts",
  "maxCompanions",
  "allowedJoins",
  "maxJoins",
  "maxHoldNs",
];

test("completeHello: given the hello of an agent that knows no companions, then none of its hosts may get one, and it is well formed", () => {
  const hello = structuredClone(helloOf("kiosk", "k")) as unknown as {
    protocol: number;
    capabilities: { guards: Record<string, unknown> };
  };
  hello.protocol = 2;
  for (const limit of [...SINCE_5, "companionHosts"]) delete hello.capabilities.guards[limit];
  expect(() => parseMessage(AgentMessageSchema, hello, "It")).toThrow();
  const whole = parseMessage(AgentMessageSchema, completeHello(hello, 2), "It");
  expect(whole).toMatchObject({ capabilities: { guards: { ...NONE_OF_THESE, companionHosts: [] } } });
  expect(completeHello(hello, CONTROL_PROTOCOL)).toBe(hello);
});

test("completeHello: given the hello of an agent that knew fewer limits, then nothing limits it there, and what it says stands", () => {
  const hello = structuredClone(helloOf("kiosk", "k")) as unknown as {
    protocol: number;
    capabilities: { guards: Record<string, unknown> };
  };
  hello.protocol = 4;
  for (const limit of SINCE_5) delete hello.capabilities.guards[limit];
  hello.capabilities.guards["companionHosts"] = ["10.0.0.0/8"];
  expect(() => parseMessage(AgentMessageSchema, hello, "It")).toThrow();
  const whole = parseMessage(AgentMessageSchema, completeHello(hello, 4), "It");
  expect(whole).toMatchObject({ capabilities: { guards: { ...NONE_OF_THESE, companionHosts: ["10.0.0.0/8"] } } });
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
