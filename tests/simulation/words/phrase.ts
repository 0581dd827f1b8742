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

export const toldRun = (name: string, graph: SiteGraph, run: RunObservations): ToldRun => ({
  name,
  observed: new Observed(graph, run),
  findings: locate(graph, run).findings,
});

/** What is untrue of all that a family's findings say, one line for each sentence. @param said gets what was said how often */
export function untrueSentences(
  book: PhraseBook,
  { name, observed, findings }: ToldRun,
  said: Map<Phrase, number>,
): string[] {
  return findings.filter(book.isOfFamily).flatMap((finding) => {
    const holding = (phrases: readonly Phrase[], sentence: string): string[] => {
      const wrong = untrueOf(phrases, sentence, finding, observed, said);
      return wrong === null
        ? []
        : [
            `${name}: "${sentence}": ${wrong} (${finding.kind} of ${finding.streams}, first suspect ${finding.suspects[0]})`,
          ];
    };
    return [
      ...holding(book.titles, finding.title),
      ...finding.evidence.flatMap((sentence) => holding([...book.titles, ...book.evidence], sentence)),
    ];
  });
}

function untrueOf(
  phrases: readonly Phrase[],
  sentence: string,
  finding: Finding,
  observed: Observed,
  said: Map<Phrase, number>,
): string | null {
  for (const phrase of phrases) {
    const match = phrase.says.exec(sentence);
    if (match === null) continue;
    said.set(phrase, (said.get(phrase) ?? 0) + 1);
    return phrase.untrue((name) => match.groups?.[name] ?? "", finding, observed);
  }
  return "nobody has written down what this claims";
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
