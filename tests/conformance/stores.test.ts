import { mkdtempSync, readdirSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { afterAll, expect, test } from "vitest";
import { openSqliteFile } from "../../controller/src/sqlite/open-sqlite-file.ts";
import { migrations } from "../../controller/src/store/migrations.ts";
import { DATABASE_FILE } from "../../controller/src/store/open-database.ts";
import { openStore } from "../../controller/src/store/store.ts";

/** Stores as earlier versions of the schema left them, as SQL text; each holds the same run of three reports. */
const KEPT = new URL("./stores/", import.meta.url);
const RUN = "00000000000000aa";
const steps = Object.keys(migrations({ blob: "blob", counter: "integer" }));
const kept = readdirSync(KEPT).map((file) => file.replace(".sql", ""));
const folder = mkdtempSync(path.join(tmpdir(), "dyetrace-kept-"));
afterAll(() => rmSync(folder, { recursive: true }));

test("every step of the schema but the newest has a store kept", () => {
  expect(kept).toEqual(steps.slice(0, -1));
});

test.each(kept)("a store of %s is brought up to date and read: run, report, counts, gaps, names", async (step) => {
  const data = path.join(folder, step);
  {
    await using empty = await openStore({ kind: "folder", folder: data }); // makes the folder
    expect(await empty.runs.list({})).toEqual([]);
  }
  rmSync(path.join(data, DATABASE_FILE));
  const old = openSqliteFile(path.join(data, DATABASE_FILE));
  old.exec(readFileSync(new URL(`${step}.sql`, KEPT), "utf8"));
  const rows = old.prepare("select name from kysely_migration order by name").all();
  const names = rows.map(({ name }) => name);
  expect(names).toEqual(steps.slice(0, steps.indexOf(step) + 1));
  old.close();

  await using store = await openStore({ kind: "folder", folder: data });
  expect(await store.runs.list({})).toMatchObject([
    { runId: RUN, state: "done", verdict: "pass", baselines: ["before"], tags: [], note: null, failure: null },
  ]);
  const { report, start, request } = await store.runs.get(RUN);
  expect(report).toMatchObject({ run: RUN, site: "Quillfen Ferry Terminal", endedAt: "2026-01-01T00:01:00.000Z" });
  expect(start).toMatchObject({ controllerNs: 123.5, bootId: "b" });
  expect(request.site.file).toBe("quillfen.yaml");
  let [firstCopies, lost] = [0, 0];
  for await (const { report: interval } of store.reports.ofAgent(RUN, "kiosk")) {
    for (const { receipt } of interval.listeners) {
      firstCopies += receipt?.firstCopies ?? 0;
      lost += receipt?.lost ?? 0;
    }
  }
  expect({ firstCopies, lost }).toEqual({ firstCopies: 28, lost: 2 });
  expect(await store.reports.minutes(RUN)).toMatchObject([{ agent: "kiosk", received: 28, lost: 2, hostLost: 0 }]);
  expect(await store.reports.episodes(RUN, 0, 1e12, 10)).toMatchObject([{ kind: "loss", count: 2 }]);
  expect(await store.reports.stints(RUN)).toMatchObject([{ keptNumber: 3, isFinal: true }]);
  expect(await store.reports.toRollUp(10)).toMatchObject([{ runId: RUN }]);
  await store.labels.change(RUN, { note: "read again", addTags: ["old"] });
  expect(await store.runs.summary(RUN)).toMatchObject({ note: "read again", tags: ["old"] });
});
