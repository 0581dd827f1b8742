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

/** A controller that takes over another's runs conducts several, one at each site. */
const MOST_CURRENT = 8;

/** The story of each run that goes on, as far as it is told, and where those of earlier runs are kept. */
export class LiveStories implements Disposable {
  readonly #store: Store;
  readonly #insight: SwitchInsight | null;
  /** Of the runs that go on, the newest last; of those that are over, the last few. */
  readonly #current = new Map<string, Current>();

  constructor(store: Store, registry: AgentRegistry, insight: SwitchInsight | null) {
    this.#store = store;
    this.#insight = insight;
    registry.on("message", (session, message) => {
      if (message.kind !== "report") return;
      this.#current.get(message.runId)?.notes.take(session.name, message.report, message.watch);
    });
  }

  /** A run is about to begin. */
  expect(runId: string, outline: RunOutline): void {
    this.#current.get(runId)?.tables?.stop();
    this.#current.delete(runId);
    const notes = new StoryNotes(storyStreams(outline));
    this.#current.set(runId, { runId, outline, notes, startedAt: null, tables: null });
    for (const [oldest, { tables }] of this.#current) {
      if (this.#current.size <= MOST_CURRENT) break;
      tables?.stop();
      this.#current.delete(oldest);
    }
  }

  /** Its time begins at this instant of `monotonicNs`. */
  begin(runId: string, startNs: number): void {
    const current = this.#current.get(runId);
    if (current === undefined) return;
    current.startedAt = new Date(Date.now() + (startNs - monotonicNs()) / 1e6).toISOString();
    const groups = new Set(current.outline.streams.map(({ group }) => group));
    if (this.#insight !== null) current.tables = new TableWatch(this.#insight.readTables, groups, startNs);
  }

  /** It is over: what its switches had in their tables. */
  end(runId: string): Promise<readonly StoryTable[]> {
    return this.#current.get(runId)?.tables?.end() ?? Promise.resolve([]);
  }

  get timers(): SiteTimers | null {
    return this.#insight?.timers ?? null;
  }

  /** @throws {Fault} RUN_UNKNOWN, or RUN_UNFINISHED where nothing is kept */
  async story(runId: string): Promise<RunStory> {
    const kept = await stored(this.#store, () => this.#store.stories.find(runId));
    if (kept !== null) return kept;
    const current = this.#current.get(runId);
    if (current !== undefined) {
      const { outline, startedAt, notes, tables } = current;
      const run = { runId, outline, startedAt, isOver: false, tables: tables?.rows ?? [], siteTimers: this.timers };
      return tellStory(storySetting(run), notes);
    }
    await stored(this.#store, () => this.#store.runs.get(runId));
    throw noStory(runId);
  }

  [Symbol.dispose](): void {
    for (const { tables } of this.#current.values()) tables?.stop();
  }
}
