import { type ChildProcess, spawn } from "node:child_process";
import { once } from "node:events";
import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { createInterface } from "node:readline";
import { setTimeout as sleep } from "node:timers/promises";
import { fileURLToPath } from "node:url";
import { afterEach, beforeEach, expect, test } from "vitest";
import { keepCredential, readCredential } from "../../agent/src/control/credential-file.ts";
import { AccessBook } from "../../controller/src/access/access-book.ts";
import { AgentDoor } from "../../controller/src/access/agent-door.ts";
import { operatorRecord, startWithOperators } from "../field/support/operators-controller.ts";
import { helloOf, Stranger } from "./stranger.ts";

const SOON = { interval: 5, timeout: 60_000 };

/** What can go wrong while a credential is exchanged for another one. */
let folder = "";
const running = new Set<ChildProcess>();
beforeEach(() => {
  folder = mkdtempSync(path.join(tmpdir(), "dyetrace-rotation-"));
});
afterEach(() => {
  for (const child of running) child.kill("SIGKILL");
  rmSync(folder, { recursive: true, force: true });
});

/** A process whose lines are waited for. */
function start(script: string, argv: readonly string[]) {
  const file = fileURLToPath(new URL(script, import.meta.url));
  const child = spawn(process.execPath, [file, ...argv], { stdio: ["ignore", "pipe", "inherit"] });
  running.add(child);
  const lines: string[] = [];
  createInterface({ input: child.stdout }).on("line", (line) => lines.push(line));
  return {
    lines,
    says: (form: RegExp) => expect.poll(() => lines.find((line) => form.test(line)), SOON).toBeDefined(),
    kill: async (): Promise<void> => {
      child.kill("SIGKILL");
      await once(child, "exit");
      running.delete(child);
    },
  };
}

/** A linear congruential generator (the constants of Numerical Recipes, from memory): the same instants for the same seed. */
function randomOf(seed: number): () => number {
  let state = seed >>> 0;
  return () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return state / 2 ** 32;
  };
}

const HOSTS = Array.from({ length: 10 }, (_, index) => `kiosk-${index}`);
/** Of the agents' process, of the controller's, and of both at once; each finds ten exchanges at ten moments. */
const KILLS = ["agents", "controller", "agents", "controller", "both", "controller"] as const;
/** A kill comes after so many exchanges of every host since the last one, and then at any moment of the next. */
const MOST_EXCHANGES = 3;
const LONGEST_MS = 40;

test("kill -9 of agents or controller in the middle of an exchange: given ten agents and six kills at random instants, then every agent gets in again", async () => {
  const seed = Number(process.env["DYETRACE_SEED"] ?? Date.now() % 1e9);
  process.stderr.write(`kills in an exchange of credentials: seed ${seed} (DYETRACE_SEED)\n`);
  const random = randomOf(seed);
  const [doorFolder, hosts] = [path.join(folder, "door"), path.join(folder, "hosts")];
  const openDoor = async (port: string) => {
    const opened = start("rotation-door.mjs", [doorFolder, port]);
    await opened.says(/^port /);
    return opened;
  };
  let door = await openDoor("0");
  const port = door.lines[0]?.split(" ")[1] ?? "";
  const admission = new AgentDoor(new AccessBook(doorFolder), null);
  for (const name of HOSTS) {
    const { credential } = admission.enrol(admission.makeKey(name, "", Date.now()).key, name, "", Date.now());
    keepCredential(path.join(hosts, name), { controller: `http://127.0.0.1:${port}`, pin: null, name, credential });
  }
  const startAgents = () => start("rotation-agent.mjs", [hosts, JSON.stringify(helloOf("", ""))]);
  const said = (lines: readonly string[], what: string, name: string): number =>
    lines.filter((line) => line === `${what} ${name}`).length;
  let agents = startAgents();
  let splits = 0;
  for (const kill of KILLS) {
    const exchanges = 1 + Math.floor(random() * MOST_EXCHANGES);
    const least = (): number => Math.min(...HOSTS.map((name) => said(agents.lines, "renewed", name)));
    await expect.poll(least, SOON).toBeGreaterThanOrEqual(exchanges);
    await sleep(random() * LONGEST_MS);
    if (kill !== "controller") await agents.kill();
    if (kill !== "agents") await door.kill();
    // Each file is whole, whatever was going on; and both sides may differ about which credential is the newest.
    const records = new AccessBook(doorFolder).records.agents;
    for (const name of HOSTS) {
      const [id] = readCredential(path.join(hosts, name))?.credential.split(".") ?? [];
      if (records.find((one) => one.name === name)?.id !== id) splits++;
    }
    agents.lines.length = 0;
    if (kill !== "agents") door = await openDoor(port);
    if (kill !== "controller") agents = startAgents();
    await expect.poll(() => HOSTS.filter((name) => said(agents.lines, "up", name) === 0), SOON).toEqual([]);
    expect(agents.lines.filter((line) => line.startsWith("turned away"))).toEqual([]);
  }
  process.stderr.write(
    `${KILLS.length * HOSTS.length} agents at a kill, ${splits} of them in the middle of an exchange\n`,
  );
  expect(splits).toBeGreaterThan(0);
});

test("a stolen credential: given that its agent has exchanged it since, then whoever shows it is refused, and that is written down with the address", async () => {
  await using controller = await startWithOperators([await operatorRecord("anna")]);
  const { book, url } = controller;
  const door = new AgentDoor(book, null);
  const stolen = door.enrol(door.makeKey("kiosk", "", Date.now()).key, "kiosk", "", Date.now()).credential;
  const agent = await Stranger.at(url);
  agent.say(helloOf("kiosk", stolen));
  await agent.hears("welcome");
  expect(door.orderRotation(null)).toEqual(["kiosk"]);
  const { credential } = (await agent.hears("credential")) as { credential?: string };
  const [id = ""] = credential?.split(".") ?? [];
  agent.say({ kind: "credential-answer", id, isKept: true, message: "" });
  await expect.poll(() => book.records.agents[0]?.id).toBe(id);
  const thief = await Stranger.at(url);
  thief.say(helloOf("kiosk", stolen));
  expect(await thief.hears("turned-away")).toMatchObject({ code: "CREDENTIAL_REPLACED" });
  // The agent itself stays where it is, beyond the next look at who may be here, and comes back with the new one.
  await sleep(1500);
  expect(agent.heard.some(({ kind }) => kind === "turned-away")).toBe(false);
  agent.socket.close();
  await agent.closed;
  const again = await Stranger.at(url);
  again.say(helloOf("kiosk", credential ?? ""));
  await again.hears("welcome");
  again.socket.close();
  const trail = readFileSync(path.join(controller.folder, "audit.jsonl"), "utf8");
  expect(trail).toMatch(/"from":"(::ffff:)?127\.0\.0\.1".*exchanged for a newer one/);
});

test("an agent that was away for too long, or that cannot keep another credential: given it, then the list of agents says so", async () => {
  await using controller = await startWithOperators([await operatorRecord("anna")]);
  const { book, url } = controller;
  const door = new AgentDoor(book, null, 1000);
  const [kiosk = "", tower = ""] = ["kiosk", "tower"].map(
    (name) => door.enrol(door.makeKey(name, "", Date.now()).key, name, "", Date.now()).credential,
  );
  const agent = await Stranger.at(url);
  agent.say(helloOf("tower", tower));
  const [id = ""] = String((await agent.hears("credential"))["credential"]).split(".");
  agent.say({ kind: "credential-answer", id, isKept: false, message: "No room on the disk" });
  await sleep(1000);
  const late = await Stranger.at(url);
  late.say(helloOf("kiosk", kiosk));
  const refusal = await late.hears("turned-away");
  expect(refusal["code"]).toBe("CREDENTIAL_EXPIRED");
  expect(refusal["message"]).toMatch(
    /^The credential of agent kiosk ended on \d{4}-\d\d-\d\d: it was away for too long/,
  );
  const { token } = (await (
    await fetch(new URL("/api/sign-in", url), {
      method: "POST",
      headers: { "content-type": "application/json" },
      body: JSON.stringify({ name: "anna", password: "correct horse 1" }),
    })
  ).json()) as { token: string };
  const listed = await (
    await fetch(new URL("/api/enrolled", url), { headers: { authorization: `Bearer ${token}` } })
  ).json();
  expect(listed).toMatchObject([
    { name: "kiosk", hasEnded: true, trouble: null },
    { name: "tower", isRenewalDue: true, trouble: "No room on the disk" },
  ]);
  agent.socket.close();
});
