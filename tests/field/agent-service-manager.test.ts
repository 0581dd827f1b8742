import { type ChildProcess, spawn } from "node:child_process";
import { once } from "node:events";
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import type { AddressInfo } from "node:net";
import { tmpdir } from "node:os";
import path from "node:path";
import { fileURLToPath } from "node:url";
import { type AgentMessage, type AgentTask, CONTROL_PROTOCOL } from "@dyetrace/wire";
import { afterAll, beforeAll, describe, expect, test, vi } from "vitest";
import { type WebSocket, WebSocketServer } from "ws";
import { UnixDatagrams } from "./unix-datagrams.ts";

/** sd_notify(3) and sd_watchdog_enabled(3) of systemd say what an agent that was started as a service has to send. */
const PROGRAM = fileURLToPath(new URL("../../agent/bin/dyetrace-agent.mjs", import.meta.url));
const RUN = "00000000d1e7ace1";
const GROUP = "239.195.4.1";
const WITHIN = { timeout: 60_000 };

let folder = "";
let server: WebSocketServer;
let socket: WebSocket | null = null;
let agent: ChildProcess;
let manager: UnixDatagrams;
let log = "";
let reader: NodeJS.Timeout;
const heard: AgentMessage[] = [];
const told: string[] = [];

const config = (): string => path.join(folder, "agent.yaml");
const allow = (guards: string): void => writeFileSync(config(), `interface: lo\nguards:\n  ${guards}\n`);
const tell = (message: object): void => socket?.send(JSON.stringify(message));
const toldNow = (): readonly string[] => {
  told.push(...manager.take());
  return told;
};
const lastHello = (): Extract<AgentMessage, { kind: "hello" }> | undefined =>
  heard.flatMap((message) => (message.kind === "hello" ? [message] : [])).at(-1);

/** As little of a controller as it takes. */
function answer(message: AgentMessage): void {
  const nowNs = Number(process.hrtime.bigint());
  if (message.kind === "hello") tell({ kind: "welcome", protocol: CONTROL_PROTOCOL, version: "1.0.0" });
  if (message.kind === "clock-ask") tell({ kind: "clock-answer", id: message.id, controllerNs: nowNs });
}

/** Until the agent has said that it is ready again. */
async function reload(): Promise<void> {
  const before = toldNow().length;
  agent.kill("SIGHUP");
  const since = (): readonly string[] =>
    toldNow()
      .slice(before)
      .filter((text) => !/^(WATCHDOG|STATUS)=/.test(text));
  await expect.poll(since, WITHIN).toEqual([expect.stringMatching(/^RELOADING=1\nMONOTONIC_USEC=\d+$/), "READY=1"]);
}

describe.each(["path", "abstract"])("an agent as a service, with a socket by its %s name", (kind) => {
  beforeAll(async () => {
    folder = mkdtempSync(path.join(tmpdir(), "dyetrace-service-"));
    const name = kind === "path" ? path.join(folder, "notify") : `@dyetrace-${process.pid}-${path.basename(folder)}`;
    manager = new UnixDatagrams(name);
    reader = setInterval(toldNow, 50); // the kernel keeps ten (net.unix.max_dgram_qlen); a service manager reads all the time
    server = new WebSocketServer({ host: "127.0.0.1", port: 0 });
    await once(server, "listening");
    server.on("connection", (to) => {
      socket = to;
      to.on("message", (data) => {
        const message = JSON.parse(String(data)) as AgentMessage;
        heard.push(message);
        answer(message);
      });
    });
    allow("allow-sending: false");
    const { port } = server.address() as AddressInfo;
    const words = ["run", "--controller", `http://127.0.0.1:${port}`, "--key", "k", "--name", "kiosk"];
    const env = { ...process.env, NOTIFY_SOCKET: name, WATCHDOG_USEC: "400000" };

    agent = spawn(process.execPath, [PROGRAM, ...words, "--config", config(), "--data", path.join(folder, "data")], {
      env,
      stdio: ["ignore", "ignore", "pipe"],
    });
    agent.stderr?.on("data", (text) => {
      log += String(text);
    });
    await vi.waitFor(() => expect(lastHello()?.name).toBe("kiosk"), WITHIN);
  });
  afterAll(async () => {
    if (agent.exitCode === null && agent.signalCode === null) {
      agent.kill("SIGKILL");
      await once(agent, "exit");
    }
    clearInterval(reader);
    manager[Symbol.dispose]();
    server.close();
    rmSync(folder, { recursive: true, force: true });
    heard.length = 0;
    told.length = 0;
    log = "";
  });

  test("given its start, then it says once that it is ready, what it is at, and again and again that it lives", async () => {
    await expect.poll(() => toldNow().filter((text) => text === "WATCHDOG=1").length, WITHIN).toBeGreaterThan(2);
    expect(toldNow().filter((text) => text === "READY=1")).toHaveLength(1);
    await expect.poll(toldNow, WITHIN).toContain("STATUS=Connected to a controller, watching lo");
  });

  test("given SIGHUP, then its file counts anew: the controller learns the new limits, a file with a mistake changes nothing", async () => {
    expect(lastHello()?.capabilities.guards.allowSending).toBe(false);
    allow("allow-sending: true");
    await reload();
    await expect.poll(() => lastHello()?.capabilities.guards.allowSending, WITHIN).toBe(true);
    allow("allow-sending: perhaps");
    await reload();
    await expect.poll(() => log, WITHIN).toContain("what it said before holds on");
    expect(log).toContain("agent.yaml:3");
    expect(lastHello()?.capabilities.guards.allowSending).toBe(true);
  });

  test("given a run, then it goes on under limits that allow it, and ends with the reason told under limits that do not", async () => {
    const stream = { streamId: 1, name: "board", group: GROUP, port: 48_620, ssmSource: null, rateBps: 1e6 };
    const streams = [{ ...stream, payloadBytes: 1316, ttl: 1, dscp: 0, burstPackets: 1 }];
    const actions = [{ atNs: 0, kind: "join" as const, streamId: 1 }];
    const task: AgentTask = { runId: RUN, streams, actions, endNs: 600e9, intervalNs: 1e9, holdNs: 5e9 };
    tell({ kind: "prepare", runId: RUN, epoch: 1, task });
    await expect.poll(() => heard.some(({ kind }) => kind === "prepared"), WITHIN).toBe(true);
    tell({ kind: "go", runId: RUN, epoch: 1, startControllerNs: Number(process.hrtime.bigint()) + 100e6 });
    const reports = (): Extract<AgentMessage, { kind: "report" }>[] =>
      heard.flatMap((message) => (message.kind === "report" ? [message] : []));
    await expect.poll(() => reports().length, WITHIN).toBeGreaterThan(0);

    allow("allowed-ports: [48620]");
    await reload();
    const before = reports().length;
    await expect.poll(() => reports().length, WITHIN).toBeGreaterThan(before + 1);
    expect(reports().some(({ isFinal }) => isFinal)).toBe(false);

    allow("allowed-ports: [50000]");
    await reload();
    await expect.poll(() => reports().some(({ isFinal }) => isFinal), WITHIN).toBe(true);
    const trouble = heard.find((message) => message.kind === "trouble");
    expect(trouble).toMatchObject({ runId: RUN, code: "GUARD_REFUSED" });
    expect(JSON.stringify(trouble)).toContain("limits were changed meanwhile");
    await expect.poll(() => lastHello()?.capabilities.guards.allowedPorts, WITHIN).toEqual(["50000"]);
    tell({ kind: "prepare", runId: RUN, epoch: 1, task });
    await expect.poll(() => heard.some(({ kind }) => kind === "refused"), WITHIN).toBe(true);
  });

  test("given SIGTERM, then it says that it stops, and ends well", async () => {
    const ended = once(agent, "exit");
    agent.kill("SIGTERM");
    expect(await ended).toEqual([0, null]);
    expect(
      toldNow()
        .filter((text) => !/^(WATCHDOG|STATUS)=/.test(text))
        .at(-1),
    ).toBe("STOPPING=1");
  });
});
