/**
 * Runs inside a mount namespace of its own: files that the programs own, written anew on a disk that is full. Prints for each
 * whether that was refused, and whether what stood there before still stands. Argument: a folder to mount over.
 */
import { spawnSync } from "node:child_process";
import { readdirSync, readFileSync, statfsSync, writeFileSync } from "node:fs";
import path from "node:path";
import { keepCredential, readCredential } from "../../agent/dist/control/credential-file.js";
import { AccessBook } from "../../controller/dist/access/access-book.js";
import { keepSignIn, signInOf } from "../../controller/dist/commands/client/sign-ins.js";
import { PlanShelf } from "../../controller/dist/console/console-plan.js";

const [folder = ""] = process.argv.slice(2);
const mounted = spawnSync("mount", ["-t", "tmpfs", "-o", "size=4M", "tmpfs", folder]);
if (mounted.status !== 0) throw new Error(String(mounted.stderr));
process.env.XDG_CONFIG_HOME = path.join(folder, "config");

const planOf = (hosts) => {
  const names = Array.from({ length: hosts }, (_, i) => `host${i}`);
  const nodes = names.map((name) => `  ${name}: { kind: host }`).join("\n");
  const links = names.map((name, i) => `  - core:${i + 1} -- ${name}:eth0`).join("\n");
  return {
    file: "plan.yaml",
    text: `site: Quillfen\nnodes:\n  core: { kind: switch, querier: true }\n${nodes}\nlinks:\n${links}\n`,
  };
};
const operator = (i) => ({
  name: `operator${i}`,
  role: "view",
  password: "x".repeat(200),
  since: "2026-01-01T00:00:00Z",
});
const credential = (name) => ({ controller: "http://127.0.0.1:1", pin: null, name, credential: "x".repeat(250) });
const shelf = new PlanShelf(folder, null);
const book = new AccessBook(folder);
const files = {
  plan: {
    first: () => shelf.save(planOf(300)),
    again: () => shelf.save(planOf(301)),
    read: () => new PlanShelf(folder, null).plan?.text.text === planOf(300).text,
  },
  access: {
    first: () => book.change(() => ({ operators: Array.from({ length: 40 }, (_, i) => operator(i)) })),
    again: () => book.change(() => ({ operators: [] })),
    read: () => new AccessBook(folder).records.operators.length === 40 && book.records.operators.length === 40,
  },
  credential: {
    first: () => keepCredential(folder, credential("kiosk")),
    again: () => keepCredential(folder, credential("stand")),
    read: () => readCredential(folder)?.name === "kiosk",
  },
  signIns: {
    first: () => keepSignIn("http://127.0.0.1:1", { pin: null, token: "first" }),
    again: () => keepSignIn("http://127.0.0.1:1", { pin: null, token: "again" }),
    read: () => signInOf("http://127.0.0.1:1").token === "first",
  },
};
for (const { first } of Object.values(files)) first();
const before = readdirSync(folder).sort();
const room = statfsSync(folder);
writeFileSync(path.join(folder, "filler"), Buffer.alloc(room.bavail * room.bsize));
const told = {};
for (const [name, { again, read }] of Object.entries(files)) {
  let refused = null;
  try {
    again();
  } catch (error) {
    refused = error.code;
  }
  told[name] = { refused, isAsBefore: read() };
}
const left = readdirSync(folder).filter((name) => name !== "filler" && !before.includes(name));
process.stdout.write(JSON.stringify({ told, left, size: readFileSync(path.join(folder, "site-plan.yaml")).length }));
