import { Fault, type ProbeRun, type RunStory } from "@dyetrace/wire";
import type { RunSummary } from "@dyetrace/wire/console/stored-run";
import type { Command } from "commander";
import { type NightSummary, summariseNight } from "../../night/night-summary.ts";
import type { RunRecord } from "../../store/run-record.ts";
import { openStore, type Store } from "../../store/store.ts";
import { stored } from "../../store/stored.ts";
import { noStory } from "../../story/no-story.ts";
import { storePlace } from "../arguments/store-place.ts";
import { type AskOptions, clientOf, withAskOptions } from "./ask-options.ts";
import type { ControllerClient } from "./controller-client.ts";

/** Stored runs, wherever they are: at a controller, or in a store that this program opens itself. */
export interface RunLibrary extends AsyncDisposable {
  /** Newest first. */
  list(most: number): Promise<readonly RunSummary[]>;
  /** @param run an id, or `last` for the newest one @throws {Fault} RUN_UNKNOWN */
  get(run: string): Promise<RunRecord>;
  /** What happened in it, so far or in all. @throws {Fault} RUN_UNFINISHED before it has begun */
  night(runId: string): Promise<NightSummary>;
  /** @returns the id of the run that bears the name @throws {Fault} BASELINE_UNKNOWN */
  baseline(name: string): Promise<string>;
  /** Runs that were made to part the suspects of this one, oldest first. */
  probes(runId: string): Promise<readonly ProbeRun[]>;
  nameBaseline(name: string, runId: string): Promise<void>;
  /** @throws {Fault} RUN_UNFINISHED where none is kept */
  story(runId: string): Promise<RunStory>;
}

export interface LibraryOptions extends AskOptions {
  readonly data?: string;
  readonly store?: string;
}

/** Where stored runs are looked for: the same options on every command that reads them. */
export const withLibraryOptions = (command: Command): Command =>
  withAskOptions(command)
    .option("--data <folder>", "read this folder instead, with no controller running on it")
    .option("--store <url>", "read this PostgreSQL database instead: postgres://user@host/name");

/** @throws {Fault} CONTROLLER_UNREACHABLE at the first question, STORE_… */
export async function openLibrary(options: LibraryOptions): Promise<RunLibrary> {
  if (options.data === undefined && options.store === undefined) return new ControllerLibrary(clientOf(options));
  return new StoreLibrary(await openStore(storePlace(options)));
}

export const LAST = "last";

class StoreLibrary implements RunLibrary {
  readonly #store: Store;

  constructor(store: Store) {
    this.#store = store;
  }

  list(most: number): Promise<readonly RunSummary[]> {
    return this.#ask(() => this.#store.runs.list(most));
  }

  get(run: string): Promise<RunRecord> {
    const { runs } = this.#store;
    return this.#ask(async () => runs.get(run === LAST ? newest(await runs.list(1)) : run));
  }

  night(runId: string): Promise<NightSummary> {
    return this.#ask(async () => summariseNight(this.#store, await this.#store.runs.get(runId), Date.now()));
  }

  baseline(name: string): Promise<string> {
    return this.#ask(() => this.#store.runs.baseline(name));
  }

  probes(runId: string): Promise<readonly ProbeRun[]> {
    return this.#ask(() => this.#store.runs.probesOf(runId));
  }

  nameBaseline(name: string, runId: string): Promise<void> {
    return this.#ask(() => this.#store.runs.nameBaseline(name, runId));
  }

  async story(runId: string): Promise<RunStory> {
    const story = await this.#ask(() => this.#store.stories.find(runId));
    if (story === null) throw noStory(runId);
    return story;
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

  async list(most: number): Promise<readonly RunSummary[]> {
    return (await this.#client.get(`/api/runs?most=${most}`)) as readonly RunSummary[];
  }

  async get(run: string): Promise<RunRecord> {
    const runId = run === LAST ? newest(await this.list(1)) : run;
    return (await this.#client.get(`/api/runs/${encodeURIComponent(runId)}`)) as RunRecord;
  }

  async night(runId: string): Promise<NightSummary> {
    return (await this.#client.get(`/api/runs/${encodeURIComponent(runId)}/night`)) as NightSummary;
  }

  async baseline(name: string): Promise<string> {
    return ((await this.#client.get(`/api/baselines/${encodeURIComponent(name)}`)) as { runId: string }).runId;
  }

  async probes(runId: string): Promise<readonly ProbeRun[]> {
    return (await this.#client.get(`/api/runs/${encodeURIComponent(runId)}/probes`)) as readonly ProbeRun[];
  }

  async nameBaseline(name: string, runId: string): Promise<void> {
    await this.#client.put(`/api/baselines/${encodeURIComponent(name)}`, { runId });
  }

  async story(runId: string): Promise<RunStory> {
    return (await this.#client.get(`/api/runs/${encodeURIComponent(runId)}/story`)) as RunStory;
  }

  async [Symbol.asyncDispose](): Promise<void> {}
}

function newest([run]: readonly RunSummary[]): string {
  if (run === undefined) throw new Fault("RUN_UNKNOWN", "There is no run here yet", "`dyetrace run` makes one");
  return run.runId;
}
