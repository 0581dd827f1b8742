import { type SiteTimers, StoryNotes, tellStory } from "@dyetrace/measure";
import type { RunOutline, RunStory, StoryTable } from "@dyetrace/wire";
import type { AgentRegistry } from "../agents/agent-registry.ts";
import { monotonicNs } from "../agents/monotonic-clock.ts";
import type { Store } from "../store/store.ts";
import { stored } from "../store/stored.ts";
import { noStory } from "./no-story.ts";
import { storySetting, storyStreams } from "./story-setting.ts";
import { type ReadTables, TableWatch } from "./table-watch.ts";

/** What a practice site tells of its switches. */
export interface SwitchInsight {
  readonly readTables: ReadTables;
  readonly timers: SiteTimers;
}

interface Current {
  readonly runId: string;
  readonly outline: RunOutline;
  readonly notes: StoryNotes;
  startedAt: string | null;
  tables: TableWatch | null;
}

/** The story of the run that goes on, as far as it is told, and where those of earlier runs are kept. */
export class LiveStories implements Disposable {
  readonly #store: Store;
  readonly #insight: SwitchInsight | null;
  #current: Current | null = null;

  constructor(store: Store, registry: AgentRegistry, insight: SwitchInsight | null) {
    this.#store = store;
    this.#insight = insight;
    registry.on("message", (session, message) => {
      if (message.kind !== "report" || message.runId !== this.#current?.runId) return;
      this.#current.notes.take(session.name, message.report, message.watch);
    });
  }

  /** A run is about to begin. */
  expect(runId: string, outline: RunOutline): void {
    this.#current?.tables?.stop();
    this.#current = { runId, outline, notes: new StoryNotes(storyStreams(outline)), startedAt: null, tables: null };
  }

  /** Its time begins at this instant of `monotonicNs`. */
  begin(runId: string, startNs: number): void {
    if (this.#current?.runId !== runId) return;
    this.#current.startedAt = new Date(Date.now() + (startNs - monotonicNs()) / 1e6).toISOString();
    const groups = new Set(this.#current.outline.streams.map(({ group }) => group));
    if (this.#insight !== null) this.#current.tables = new TableWatch(this.#insight.readTables, groups, startNs);
  }

  /** It is over: what its switches had in their tables. */
  end(runId: string): Promise<readonly StoryTable[]> {
    if (this.#current?.runId !== runId) return Promise.resolve([]);
    return this.#current.tables?.end() ?? Promise.resolve([]);
  }

  get timers(): SiteTimers | null {
    return this.#insight?.timers ?? null;
  }

  /** @throws {Fault} RUN_UNKNOWN, or RUN_UNFINISHED where nothing is kept */
  async story(runId: string): Promise<RunStory> {
    const kept = await stored(this.#store, () => this.#store.stories.find(runId));
    if (kept !== null) return kept;
    const current = this.#current;
    if (current?.runId === runId) {
      const { outline, startedAt, notes, tables } = current;
      const run = { runId, outline, startedAt, isOver: false, tables: tables?.rows ?? [], siteTimers: this.timers };
      return tellStory(storySetting(run), notes);
    }
    await stored(this.#store, () => this.#store.runs.get(runId));
    throw noStory(runId);
  }

  [Symbol.dispose](): void {
    this.#current?.tables?.stop();
  }
}
