import { EventEmitter } from "node:events";
import { pino } from "pino";
import { expect, test } from "vitest";
import { AccessBook } from "../access/access-book.ts";
import { AgentDoor } from "../access/agent-door.ts";
import type { AgentRegistry } from "./agent-registry.ts";
import { CredentialRenewal } from "./credential-renewal.ts";

const NOW_MS = Date.UTC(2026, 10, 29);

test("an answer: given one to a credential that was never handed over, or not to this agent, then it is no agent's trouble", () => {
  const door = new AgentDoor(new AccessBook(null), null);
  door.enrol(door.makeKey("kiosk", "anna", NOW_MS).key, "kiosk", "192.0.2.7", NOW_MS);
  const id =
    door
      .draw(new Set(["kiosk"]), NOW_MS)
      .get("kiosk")
      ?.credential.split(".")[0] ?? "";
  const registry = new EventEmitter();
  using renewal = new CredentialRenewal({
    ...{ door, onRenewed: () => {}, now: () => NOW_MS, log: pino({ level: "silent" }) },
    registry: registry as unknown as AgentRegistry,
  });
  const answer = (name: string, ofId: string): void =>
    void registry.emit("credentialAnswer", { name }, { id: ofId, isKept: false, message: "the disk is full" });
  answer("kiosk", "0123456789abcdef");
  answer("tower", id);
  expect([renewal.troubleOf("kiosk"), renewal.troubleOf("tower")]).toEqual([null, null]);
  answer("kiosk", id);
  expect(renewal.troubleOf("kiosk")).toBe("the disk is full");
});
