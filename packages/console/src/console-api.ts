import type { SiteLink, SiteNode } from "@dyetrace/site";
import type {
  AgentCapabilities,
  ClockEstimate,
  RunOutline,
  RunReport,
  RunRequest,
  UserFile,
  Verdict,
} from "@dyetrace/wire";

/**
 * What the console and the controller's console routes say to each other, as JSON. Types alone: both sides are built
 * from one tree, so no version travels with it. Unknown is null, never 0. Times in ms count from the run's start.
 */

/** `GET /api/console/events`: one event a line, the first is `hello`, then at least one a second. */
export type ConsoleEvent =
  | ConsoleHello
  | { readonly kind: "beat" }
  | { readonly kind: "agents"; readonly agents: readonly ConsoleAgent[] }
  | { readonly kind: "plan"; readonly plan: ConsolePlan | null }
  /** A run began or took a step; everything but what its listeners measure. */
  | { readonly kind: "run"; readonly run: ConsoleRun }
  | { readonly kind: "live"; readonly runId: string; readonly cells: readonly LiveCell[] }
  | { readonly kind: "heard"; readonly runId: string; readonly heard: readonly LiveHeard[] };

/** Everything that is so at the moment: a console that comes back after a break throws away what it had. */
export interface ConsoleHello {
  readonly kind: "hello";
  /** Drawn at the controller's start: another one means that the runs in its memory are gone. */
  readonly instance: string;
  readonly version: string;
  /** Nobody can be disturbed: a practice site. */
  readonly isPractice: boolean;
  /** Runs begin with a look and a ramp. */
  readonly isLive: boolean;
  readonly plan: ConsolePlan | null;
  readonly agents: readonly ConsoleAgent[];
  /** The run that is going on, or the last one. */
  readonly run: ConsoleRun | null;
  readonly strips: readonly LiveStrip[];
  readonly heard: readonly LiveHeard[];
}

export interface ConsoleAgent {
  readonly name: string;
  readonly version: string;
  readonly capabilities: AgentCapabilities;
  /** What its rights on its host keep it from; null: it did not say. */
  readonly lacks: readonly string[] | null;
  /** Whether its host lets a controller upgrade it. */
  readonly allowsUpgrade: boolean;
  /** How well its clock was known when it last prepared a run; null before that, or where it could not tell. */
  readonly clock: ClockEstimate | null;
}

/** A site plan as text and, unless it has mistakes, as something to draw. */
export interface ConsolePlan {
  readonly text: UserFile;
  readonly drawing: PlanDrawing;
}

export interface PlanDrawing {
  readonly site: string;
  readonly nodes: readonly SiteNode[];
  readonly links: readonly SiteLink[];
}

export interface ConsoleRun {
  readonly runId: string;
  readonly outline: RunOutline;
  readonly drawing: PlanDrawing;
  readonly stage: "preparing" | "running" | "concluding" | "over";
  readonly steps: readonly string[];
  /** What the timeline does next; null when nothing more happens, or nobody has said. */
  readonly next: { readonly what: string; readonly inMs: number } | null;
  /** How far the run was when this was written (negative before its start); null before the order to start is out. */
  readonly atMs: number | null;
  readonly lastsMs: number | null;
  readonly report: RunReport | null;
  readonly failure: { readonly code: string; readonly message: string; readonly hint: string } | null;
}

/**
 * One second of one agent and one stream, as a letter:
 * `f` flows whole · `1` to `4` thins: under 0.1 %, 1 %, 10 %, more · `-` dry: joined, source on, nothing came ·
 * `.` waiting: joined, but no packet is due yet or any more · `s` seen without joining · `d` the same, as the site's
 * build has it (an unmanaged switch copies to all) · `o` not joined, nothing seen · `u` not joined, cannot watch.
 */
export type LiveMark = "f" | "1" | "2" | "3" | "4" | "-" | "." | "s" | "d" | "o" | "u";

export interface LiveCell {
  readonly agent: string;
  readonly streamId: number;
  /** Counts from 0 at the run's start. */
  readonly second: number;
  readonly mark: LiveMark;
  readonly figures: LiveFigures | null;
}

/** What one listener measured in one second. */
export interface LiveFigures {
  readonly received: number;
  readonly lost: number;
  readonly hostLost: number | null;
  readonly rateBps: number;
  readonly jitterMs: number | null;
  readonly longestGapMs: number | null;
}

/** The marks of one agent and stream from second `from` on, one letter a second; a blank where nothing was told. */
export interface LiveStrip {
  readonly agent: string;
  readonly streamId: number;
  readonly from: number;
  readonly marks: string;
  readonly last: LiveFigures | null;
}

/** `GET /api/console/live/:run/:agent/:streamId`: figures of one listener, second by second from `from` on. */
export interface LiveSeries {
  readonly from: number;
  readonly figures: readonly (LiveFigures | null)[];
}

/** A membership message that an agent heard, or itself put on the wire. */
export interface LiveHeard {
  readonly agent: string;
  readonly atMs: number;
  readonly what: "query" | "join" | "leave" | "report";
  readonly isOwn: boolean;
  readonly version: string;
  /** Null in a general query. */
  readonly group: string | null;
  /** Who said it. */
  readonly from: string;
}

/** `GET /api/console/scenarios`: what can be run without pasting anything. */
export interface ConsoleScenario {
  readonly text: UserFile;
  readonly name: string;
  readonly about: string;
  /** With its default as text; null where it must be set. */
  readonly parameters: readonly ConsoleParameter[];
}

export interface ConsoleParameter {
  readonly name: string;
  readonly value: string | null;
  /** What the file says beside it; empty where it says nothing. */
  readonly note: string;
  /** An agent's name, a list of them, or anything else. */
  readonly takes: "agent" | "agents" | "text";
}

/** A mistake in a file. Lines and columns count from 1. */
export interface FileMistake {
  readonly message: string;
  readonly hint: string;
  readonly line: number | null;
  readonly column: number | null;
}

/** Answer of `POST /api/console/plan-check` to a `UserFile`. */
export type PlanAnswer =
  | { readonly kind: "mistakes"; readonly mistakes: readonly FileMistake[] }
  | { readonly kind: "plan"; readonly drawing: PlanDrawing; readonly coverage: PlanCoverage };

export interface PlanCoverage {
  readonly agents: number;
  readonly querier: { readonly node: string; readonly isAssumed: boolean } | null;
  /** Host whose traffic was assumed. */
  readonly source: string | null;
  readonly ambiguousSets: readonly (readonly string[])[];
  readonly untested: readonly string[];
  readonly nextAgentAt: string | null;
  /** Share of pairs of single faults that look different; null with no pair. */
  readonly separableRatio: number | null;
}

/** Answer of `POST /api/console/run-check` to a `RunRequest`: what the run would do, or what is wrong with it. */
export type RunAnswer =
  | { readonly kind: "mistakes"; readonly of: "site" | "scenario"; readonly mistakes: readonly FileMistake[] }
  | { readonly kind: "run"; readonly forecast: RunForecast };

export interface RunForecast {
  readonly scenario: string;
  readonly about: string | null;
  readonly lastsMs: number;
  readonly steps: readonly { readonly atMs: number; readonly sentence: string }[];
  /** Steps of the timeline beyond those in `steps`. */
  readonly furtherSteps: number;
  readonly expects: readonly string[];
  /** Agents that the run needs, and which of them are not connected. */
  readonly needs: readonly string[];
  readonly missing: readonly string[];
  readonly loads: readonly {
    readonly segment: string;
    readonly loadBps: number;
    readonly speedBps: number | null;
  }[];
  readonly cautions: readonly {
    readonly level: "refuse" | "warn" | "note";
    readonly sentence: string;
    readonly reference: string;
  }[];
  /** The words without which a live site's run does not start, for it loads a link much; null: none are asked for. */
  readonly confirmation: string | null;
  /** What to have thought of before traffic goes onto a live site; empty on a practice site. */
  readonly thoughts: readonly string[];
}

/** `GET /api/console/new-agent`: how to bring one more agent in. */
export interface NewAgentHelp {
  readonly controllerUrl: string;
  /** Null where the asker is not on the controller's own machine: the key stays there. */
  readonly key: string | null;
}

/** `GET /api/session`. */
export interface ConsoleSession {
  /** Nobody signs in: this controller answers on its own machine alone. */
  readonly isOpen: boolean;
  readonly operator: { readonly name: string; readonly role: "view" | "operate" } | null;
  /** Goes with every change; null where nobody has signed in. */
  readonly formToken: string | null;
  /** False: nobody can sign in yet. */
  readonly hasOperators: boolean;
}

/** Answer of `POST /api/enrolled`: a key that enrols one agent, and the line with it. */
export interface EnrolAnswer {
  readonly key: string;
  /** ISO 8601. */
  readonly until: string;
  readonly line: string;
}

/** An entry of `GET /api/enrolled`. */
export interface EnrolledAgent {
  readonly name: string;
  readonly since: string;
  /** The address that it enrolled from. */
  readonly from: string;
}

/** An entry of `GET /api/audit`, newest first. */
export interface AuditEntry {
  readonly at: string;
  readonly who: string;
  readonly from: string;
  readonly what: string;
}

/** An entry of `GET /api/runs`. Instants are ISO 8601. */
export interface StoredRunSummary {
  readonly runId: string;
  readonly state: "scheduled" | "running" | "done" | "failed";
  readonly site: string;
  readonly scenario: string;
  readonly verdict: Verdict | null;
  readonly createdAt: string;
  readonly startedAt: string | null;
  readonly endedAt: string | null;
  /** Names under which later runs are compared with it. */
  readonly baselines: readonly string[];
}

/** `GET /api/console/runs/:id`. */
export interface StoredRun extends StoredRunSummary {
  readonly drawing: PlanDrawing;
  readonly request: RunRequest;
  readonly report: RunReport | null;
  readonly failure: ConsoleRun["failure"];
}

export type ComparisonOutcome = "worse" | "better" | "same" | "cant-tell";

/** `GET /api/console/runs/:id/comparison?against=:id`: the later run held against the earlier one. */
export interface ComparisonAnswer {
  readonly outcome: ComparisonOutcome;
  readonly reason: string;
  /** What went the same way, with the places that explain it. */
  readonly changes: readonly {
    readonly what: string;
    readonly stream: string | null;
    readonly outcome: "worse" | "better";
    readonly listeners: readonly string[];
    readonly places: readonly string[];
    readonly because: string;
  }[];
  readonly comparisons: readonly {
    readonly what: string;
    readonly stream: string | null;
    readonly listener: string | null;
    readonly places: readonly string[];
    readonly before: string;
    readonly after: string;
    readonly outcome: ComparisonOutcome;
    readonly because: string;
  }[];
  readonly notes: readonly string[];
  /** What makes the two no pair: differences of their scenarios or plans. */
  readonly differences: readonly string[];
}
