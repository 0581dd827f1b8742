import { readFileSync } from "node:fs";
import { loadSitePlan } from "@dyetrace/site";
import { Fault, PracticeFaultEntrySchema } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { explainFaults } from "./explain-faults.ts";
import { FAULT_WORDS } from "./fault-words.ts";
import { loadPracticeFaults } from "./load-practice-faults.ts";

const DEMO = new URL("../../demo/quillfen.yaml", import.meta.url);
const graph = loadSitePlan(readFileSync(DEMO, "utf8"), "quillfen.yaml");
const QUERIERS = [...graph.nodes.values()].filter(({ isQuerier }) => isQuerier).map(({ name }) => name);

/** What stands before the colon in an example is what is written. */
const written = (example: string): string => example.split(/[:,]| or /)[0] ?? "";

test("explainFaults: given the demo plan, then every fault on its first place, with what it needs, is one that loads", () => {
  const explained = explainFaults(graph, QUERIERS);
  expect(explained.length).toBeGreaterThan(20);
  for (const { fault, places, parameters } of explained) {
    const needed = parameters.filter(({ isNeeded }) => isNeeded);
    const values = needed.map(({ name, example }) => `, ${name}: ${name === "source" ? "tower" : written(example)}`);
    const other = fault === "rate-limit" ? ", rate: 2 Mbit/s" : "";
    const more = { "igmp-version": ", igmp: 2", "querier-timers": ", query-interval: 20s" }[fault as string] ?? other;
    // The first place may be the source itself, or joined to two hosts: the loader says so; one of the first few fits.
    const outcomes = places.slice(0, 6).map((on) => {
      try {
        return loadPracticeFaults(
          `faults:\n  - { fault: ${fault}, on: "${on}"${values.join("")}${more} }\n`,
          "f",
          graph,
        );
      } catch (error) {
        return error instanceof Fault ? error.message : String(error);
      }
    });
    expect(
      outcomes.some((one) => typeof one !== "string"),
      `${fault}: ${outcomes.join("; ")}`,
    ).toBe(true);
  }
});

test("FAULT_WORDS: given the schema of fault files, then each parameter that it explains is one of its keys, and needed where it says", () => {
  for (const option of PracticeFaultEntrySchema.anyOf) {
    const name = (option.properties.fault as { const: keyof typeof FAULT_WORDS }).const;
    const required = new Set<string>(option.required ?? []);
    for (const parameter of FAULT_WORDS[name].parameters) {
      expect(Object.keys(option.properties), name).toContain(parameter.name);
      expect(required.has(parameter.name), `${name} ${parameter.name}`).toBe(parameter.isNeeded);
    }
  }
});
