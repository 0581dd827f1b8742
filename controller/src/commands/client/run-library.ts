import { Fault, type Night, type ProbeRun, parseAs, type RunStory } from "@dyetrace/wire";
import type { KeptHeaders } from "@dyetrace/wire/capture/kept-headers-schema";
import type { Matrix, Trends } from "@dyetrace/wire/console/run-history";
import {
  type Baseline,
  type MarkChange,
  MarkChangeSchema,
  type RunQuery,
  type RunSummary,
} from "@dyetrace/wire/console/stored-run";
import type { Command } from "commander";
import { readMatrix, readTrends } from "../../history/read-trends.ts";
import type { TrendQuery } from "../../history/trends.ts";
import { summariseNight } from "../../night/morning/night-summary.ts";
import type { RunRecord } from "../../store/run-record.ts";
import { openStore, type Store } from "../../store/store.ts";
import { stored } from "../../store/stored.ts";
import { noStory } from "../../story/no-story.ts";
import { cautionOfPassword, storePlace } from "../arguments/store-place.ts";
import { type AskOptions, clientOf, withAskOptions } from "./ask-options.ts";
import type { ControllerClient } from "./controller-client.ts";

/** Stored runs, wherever they are: at a controller, or in a store that this program opens itself. */
export interface RunLibrary extends AsyncDisposable {
  /** Newest first. */
  list(query: RunQuery): Promise<readonly RunSummary[]>;
  /** @param run an id, or `last` for the newest one @throws {Fault} RUN_UNKNOWN */
  get(run: string): Promise<RunRecord>;
  /** What happened in it, so far or in all. @throws {Fault} RUN_UNFINISHED before it has begun */
  night(runId: string): Promise<Night>;
  /** Every figure over runs. @throws {Fault} OPTION_INVALID where no figure is called that */
  trends(query: RunQuery & TrendQuery): Promise<Trends>;
  /** @throws {Fault} RUN_UNKNOWN, RUN_UNFINISHED */
  matrix(runId: string): Promise<Matrix>;
  /** @returns the id of the run that bears the name @throws {Fault} BASELINE_UNKNOWN */
  baseline(name: string): Promise<string>;
  /** Runs that were made to part the suspects of this one, oldest first. */
  probes(runId: string): Promise<readonly ProbeRun[]>;
  nameBaseline(name: string, runId: string): Promise<void>;
  /** @throws {Fault} RUN_UNFINISHED where none is kept */
  story(runId: string): Promise<RunStory>;
  baselines(): Promise<readonly Baseline[]>;
  /** @throws {Fault} BASELINE_UNKNOWN */
  removeBaseline(name: string): Promise<void>;
  /** @throws {Fault} RUN_UNKNOWN */
  mark(runId: string, change: MarkChange): Promise<void>;
  /** @throws {Fault} RUN_UNKNOWN, RUN_BUSY, RUN_NAMED */
  remove(runId: string): Promise<void>;
  /** A copy of everything in a new file, an SQLite database. @throws {Fault} OPTION_INVALID where the store has tools for that */
  backUp(file: string): Promise<void>;
  /** @returns null where none is kept, as of a run of an earlier version */
  findStory(runId: string): Promise<RunStory | null>;
  /** Headers that agents kept of it. @returns null where none are kept */
  headers(runId: string): Promise<KeptHeaders | null>;
}

export interface LibraryOptions extends AskOptions {
  readonly data?: string;
  readonly store?: string;
  readonly storeFile?: string;
}

/** Where stored runs are looked for: the same options on every command that reads them. */
export const withLibraryOptions = (command: Command): Command =>
  withAskOptions(command)
    .option("--data <folder>", "read this folder instead, with no controller running on it")
    .option("--store <url>", "read this PostgreSQL database instead: postgres://user@host/name")
    .option("--store-file <file>", "the same, with the address in a file that only you can read");

/** @throws {Fault} CONTROLLER_UNREACHABLE at the first question, STORE_… */
export async function openLibrary(options: LibraryOptions): Promise<RunLibrary> {
  if (options.data === undefined && options.store === undefined && options.storeFile === undefined) {
    return new ControllerLibrary(clientOf(options));
  }
  const caution = cautionOfPassword(options);
  if (caution !== null) process.stderr.write(`${caution}\n`);
  return new StoreLibrary(await openStore(storePlace(options, {}), Date.now, { mustExist: true }));
}

export const LAST = "last";

class StoreLibrary implements RunLibrary {
  readonly #store: Store;

  constructor(store: Store) {
    this.#store = store;
  }

  list(query: RunQuery): Promise<readonly RunSummary[]> {
    return this.#ask(() => this.#store.runs.list(query));
  }

  get(run: string): Promise<RunRecord> {
    const { runs } = this.#store;
    return this.#ask(async () => runs.get(run === LAST ? newest(await runs.list({ most: 1 })) : run));
  }

  night(runId: string): Promise<Night> {
    return this.#ask(async () => summariseNight(this.#store, await this.#store.runs.get(runId), Date.now()));
  }

  trends(query: RunQuery & TrendQuery): Promise<Trends> {
    return this.#ask(() => readTrends(this.#store, query));
  }

  matrix(runId: string): Promise<Matrix> {
    return this.#ask(() => readMatrix(this.#store, runId));
  }

  baseline(name: string): Promise<string> {
    return this.#ask(() => this.#store.labels.baseline(name));
  }

  probes(runId: string): Promise<readonly ProbeRun[]> {
    return this.#ask(() => this.#store.runs.probesOf(runId));
  }

  nameBaseline(name: string, runId: string): Promise<void> {
    return this.#ask(() => this.#store.labels.nameBaseline(name, runId));
  }

  baselines(): Promise<readonly Baseline[]> {
    return this.#ask(() => this.#store.labels.baselines());
  }

  removeBaseline(name: string): Promise<void> {
    return this.#ask(() => this.#store.labels.removeBaseline(name));
  }

  mark(runId: string, change: MarkChange): Promise<void> {
    const bounded = parseAs(MarkChangeSchema, change, "OPTION_INVALID", "The note or tag");
    return this.#ask(() => this.#store.labels.change(runId, bounded));
  }

  remove(runId: string): Promise<void> {
    return this.#ask(() => this.#store.runs.remove(runId));
  }

  backUp(file: string): Promise<void> {
    return this.#ask(() => this.#store.backUp(file));
  }

  async story(runId: string): Promise<RunStory> {
    const story = await this.findStory(runId);
    if (story === null) throw noStory(runId);
    return story;
  }

  findStory(runId: string): Promise<RunStory | null> {
    return this.#ask(() => this.#store.stories.find(runId));
  }

  headers(runId: string): Promise<KeptHeaders | null> {
    return this.#ask(() => this.#store.captures.find(runId));
  }

  [Symbol.asyncDispose](): Promise<void> {
    return this.#store.close();
  }

  #ask<T>(question: () => Promise<T>): Promise<T> {
    return stored(this.#store, question);
  }
}

class ControllerLibrary implements RunLibrary {
  readonly #client: ControllerClient;

  constructor(client: ControllerClient) {
    this.#client = client;
  }

  list(query: RunQuery): Promise<readonly RunSummary[]> {
    return this.#client.ask("listRuns", { query });
  }

  trends(query: RunQuery & TrendQuery): Promise<Trends> {
    return this.#client.ask("readTrends", { query: { ...query } });
  }

  matrix(runId: string): Promise<Matrix> {
    return this.#client.ask("readMatrix", { path: { id: runId } });
  }

  async get(run: string): Promise<RunRecord> {
    const runId = run === LAST ? newest(await this.list({ most: 1 })) : run;
    const record = await this.#client.ask("readRun", { path: { id: runId } });
    return record as RunRecord; // the same, but that a request's lists are ours to change
  }

  night(runId: string): Promise<Night> {
    return this.#client.ask("readNight", { path: { id: runId } });
  }

  async baseline(name: string): Promise<string> {
    return (await this.#client.ask("readBaseline", { path: { name } })).runId;
  }

  probes(runId: string): Promise<readonly ProbeRun[]> {
    return this.#client.ask("listProbes", { path: { id: runId } });
  }

  async nameBaseline(name: string, runId: string): Promise<void> {
    await this.#client.ask("nameBaseline", { path: { name }, body: { runId } });
  }

  story(runId: string): Promise<RunStory> {
    return this.#client.ask("readStory", { path: { id: runId } });
  }

  baselines(): Promise<readonly Baseline[]> {
    return this.#client.ask("listBaselines");
  }

  async removeBaseline(name: string): Promise<void> {
    await this.#client.ask("removeBaseline", { path: { name } });
  }

  async mark(runId: string, change: MarkChange): Promise<void> {
    await this.#client.ask("markRun", { path: { id: runId }, body: change });
  }

  async remove(runId: string): Promise<void> {
    await this.#client.ask("removeRun", { path: { id: runId } });
  }

  async backUp(file: string): Promise<void> {
    await this.#client.download("/api/backup", file);
  }

  headers(runId: string): Promise<KeptHeaders | null> {
    return this.#client.ask("readHeaders", { path: { id: runId } });
  }

  async findStory(runId: string): Promise<RunStory | null> {
    try {
      return await this.story(runId);
    } catch (error) {
      if (error instanceof Fault && error.code === "RUN_UNFINISHED") return null;
      throw error;
    }
  }

  async [Symbol.asyncDispose](): Promise<void> {}
}

function newest([run]: readonly RunSummary[]): string {
  if (run === undefined) throw new Fault("RUN_UNKNOWN", "There is no run here yet", "`dyetrace run` makes one");
  return run.runId;
}
