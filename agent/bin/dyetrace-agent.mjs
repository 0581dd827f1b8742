#!/usr/bin/env node
/**
 * Starts the agent: the program beside this file, or the one that its controller sent since, where the host's file still
 * allows that; the program beside this file reads it. A program that was tried several times and never got to its controller
 * is left alone, and the one beside this file is taken again.
 */
import { existsSync, readFileSync, renameSync, statSync, writeFileSync } from "node:fs";
import path from "node:path";
import { pathToFileURL } from "node:url";

const MOST_ATTEMPTS = 3;
const argv = process.argv.slice(2);

/** @returns {string | undefined} the value of an option in either way of writing it, the last one as the program has it */
function optionOf(name) {
  let value;
  argv.forEach((word, at) => {
    if (word === name) value = argv[at + 1] ?? "";
    else if (word.startsWith(`${name}=`)) value = word.slice(name.length + 1);
  });
  return value;
}

/** @returns {Promise<string | null>} the folder of an upgraded program */
async function upgradedProgram() {
  if (argv[0] !== "run") return null;
  const file = path.join(optionOf("--data") ?? "dyetrace-agent-data", "program", "current.json");
  try {
    const { folder, version, attempts } = JSON.parse(readFileSync(file, "utf8"));
    const { mayBeReplaced } = await import(ownProgram().href);
    if (!mayBeReplaced(optionOf("--config"))) return null;
    if (attempts >= MOST_ATTEMPTS || !existsSync(path.join(folder, "dist", "main.js"))) return null;
    // Beside it and then in its place: a disk that is full must not cost the name of the program.
    writeFileSync(`${file}.new`, JSON.stringify({ folder, version, attempts: attempts + 1 }));
    renameSync(`${file}.new`, file);
    return folder;
  } catch {
    return null; // never upgraded, or no attempt can be counted
  }
}

/** @returns {URL} in the repository the bundle (deploy/bundle-agent.mjs) unless something was compiled since; in a package, what is there */
function ownProgram() {
  const here = (name) => new URL(`../${name}`, import.meta.url);
  const madeMs = (url) => statSync(url, { throwIfNoEntry: false })?.mtimeMs ?? 0;
  const bundle = here("dist/bundle/dist/main.js");
  const packages = ["dist", ...["measure", "pin", "schema", "wire"].map((name) => `../packages/${name}/dist`)];
  const compiledMs = Math.max(...packages.map((folder) => madeMs(here(`${folder}/.tsbuildinfo`))));
  // A test that changes parts of the program from outside needs them as files of their own.
  const isWanted = process.env.DYETRACE_UNBUNDLED !== "1";
  return isWanted && madeMs(bundle) > compiledMs ? bundle : here("dist/main.js");
}

const upgraded = await upgradedProgram();
if (upgraded !== null) process.env.DYETRACE_PROGRAM = upgraded;
const main = upgraded === null ? ownProgram() : pathToFileURL(`${upgraded}/dist/main.js`);
if (!existsSync(main)) {
  process.stderr.write(
    "dyetrace-agent is not built yet. Run `npm start` or `npm run build` in the repository first.\n",
  );
  process.exit(2);
}
const { runAgentProgram } = await import(main.href);
await runAgentProgram(argv);
