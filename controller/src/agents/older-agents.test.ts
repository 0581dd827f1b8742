import {
  AgentMessageSchema,
  CONTROL_OLDEST_PROTOCOL,
  CONTROL_PROTOCOL,
  commonProtocol,
  DEFAULT_GUARDS,
  parseMessage,
} from "@dyetrace/wire";
import { expect, test } from "vitest";
import { helloOf } from "../../../tests/faults/stranger.ts";
import { completeHello } from "./older-agents.ts";

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
