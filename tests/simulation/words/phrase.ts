import type { SiteGraph } from "@dyetrace/site";
import type { Finding } from "../../../packages/locate/src/finding/finding.ts";
import { locate } from "../../../packages/locate/src/locate.ts";
import type { RunObservations } from "../../../packages/locate/src/run/run-observations.ts";
import { Observed } from "./observed.ts";

/** A sentence that findings say, with what it claims. */
export interface Phrase {
  /** The whole sentence. */
  readonly says: RegExp;
  /** @returns what of it is not so, by the observations alone; null where all of it holds */
  readonly untrue: (parts: Parts, finding: Finding, observed: Observed) => string | null;
}

/** The named groups of the sentence; an absent one is "". */
export type Parts = (name: string) => string;

/** Phrases that one family of findings says, in title and evidence. */
export interface PhraseBook {
  readonly isOfFamily: (finding: Finding) => boolean;
  readonly titles: readonly Phrase[];
  readonly evidence: readonly Phrase[];
}

/** A run, and what `locate` says of it. */
export interface ToldRun {
  readonly name: string;
  readonly observed: Observed;
  readonly findings: readonly Finding[];
}

export function toldRun(name: string, graph: SiteGraph, run: RunObservations): ToldRun {
  const { findings } = locate(graph, run);
  // Where a host seems to sit elsewhere, the rest is said of the site as it seems to be, which is not the plan's.
  const isOfPlan = findings.every(
    ({ suspects, misplaced = [] }) => misplaced.length === 0 && !suspects.some(isSupposed),
  );
  const held = isOfPlan ? findings : findings.filter(({ kind }) => kind === "plan-mismatch");
  return { name, observed: new Observed(graph, run), findings: held };
}

const isSupposed = (suspect: string): boolean => suspect.includes(":?");

/** What is untrue of all that a family's findings say, one line for each sentence. @param said gets what was said how often */
export function untrueSentences(
  book: PhraseBook,
  { name, observed, findings }: ToldRun,
  said: Map<Phrase, number>,
): string[] {
  return findings.filter(book.isOfFamily).flatMap((finding) => {
    const holding = (phrases: readonly Phrase[], told: string, isTitle: boolean): string[] => {
      const sentence = told.replaceAll("\u202f", ""); // between the digits of large numbers
      const phrase = phrases.find(({ says }) => says.test(sentence));
      if (phrase !== undefined) said.set(phrase, (said.get(phrase) ?? 0) + 1);
      // What a title claims has to be written down in its family's book; of the evidence, what has a book is held.
      const unwritten = isTitle ? "nobody has written down what this title claims" : null;
      const wrong = phrase === undefined ? unwritten : untrueOf(phrase, sentence, finding, observed);
      const of = `${finding.kind} of ${finding.streams}, first suspect ${finding.suspects[0]}`;
      return wrong === null ? [] : [`${name}: "${sentence}": ${wrong} (${of})`];
    };
    return [
      ...holding(book.titles, finding.title, true),
      ...finding.evidence.flatMap((sentence) => holding([...book.titles, ...book.evidence], sentence, false)),
    ];
  });
}

function untrueOf(phrase: Phrase, sentence: string, finding: Finding, observed: Observed): string | null {
  const groups = phrase.says.exec(sentence)?.groups;
  return phrase.untrue((name) => groups?.[name] ?? "", finding, observed);
}

/** Names in a list as findings write it: "a", "a and b", "a, b and 7 more". */
export interface NameList {
  readonly names: readonly string[];
  /** How many it has in all. */
  readonly count: number;
}

export function namesIn(list: string): NameList {
  const more = / and ([0-9]+) more$/.exec(list);
  const names = list.slice(0, more?.index).split(/, | and /);
  return { names, count: names.length + Number(more?.[1] ?? 0) };
}

/** The list says all of these and nobody else. */
export const isListOf = (list: string, all: readonly string[]): boolean => {
  const { names, count } = namesIn(list);
  return names.every((name) => all.includes(name)) && count === new Set(all).size;
};

/** ms, from "12.3 s". */
export const ms = (text: string): number => Number(text.replace(" s", "")) * 1000;
/** What rounding may hide, and a packet's interval besides. */
export const slackMs = (text: string, intervalMs: number): number => (ms(text) < 1000 ? 6 : 60) + intervalMs;

/** First of the checks that fails. */
export function first(...checks: readonly (string | null | false)[]): string | null {
  for (const check of checks) if (check !== null && check !== false) return check;
  return null;
}

export const NAMES = "[^ ,]+(?:, [^ ,]+)*(?: and [^ ,]+)?(?: more)?";
export const TIME = "-?[0-9.]+ s";
export const COUNT = "[0-9]+";
