import { type Document, type LineCounter, Parser, parseDocument } from "yaml";

/** Its mistakes after the first are not told, so no text behind that is read: each of them would cost its time. */
export interface YamlSyntax {
  readonly document: Document.Parsed;
  /** Of the library: the first mistake in the order of the text; null where there is none. */
  readonly problem: { readonly code: string; readonly message: string; readonly at: number } | null;
}

/** The library's word for it. */
const BROKEN = "UNEXPECTED_TOKEN";

/** @param lines learns where the lines begin */
export function parseToFirstMistake(source: string, lines: LineCounter): YamlSyntax {
  const broken = firstBrokenToken(source);
  const document = withoutStacks(() =>
    parseDocument(broken === null ? source : source.slice(0, broken.end), {
      version: "1.2",
      schema: "core",
      merge: false,
      uniqueKeys: false, // the reader checks: the library compares every pair, minutes for 80 000 keys
      prettyErrors: false,
      lineCounter: lines,
    }),
  );
  const problems = [...document.errors, ...document.warnings].map(({ code, message, pos }) => ({
    code: String(code),
    message,
    at: pos[0],
  }));
  if (broken !== null) problems.push({ code: BROKEN, message: broken.message, at: broken.at });
  const problem = problems.reduce<YamlSyntax["problem"]>(
    (first, one) => (first === null || one.at < first.at ? one : first),
    null,
  );
  return { document, problem };
}

/** What can be no YAML whatever stands around it. */
function firstBrokenToken(source: string): { at: number; end: number; message: string } | null {
  for (const token of new Parser().parse(source)) {
    if (token.type !== "error") continue;
    return { at: token.offset, end: token.offset + token.source.length, message: token.message };
  }
  return null;
}

/** A list of thousands of mistakes needs no trace of each: they take most of the time. */
function withoutStacks<T>(work: () => T): T {
  const traced = Error as { stackTraceLimit?: number }; // of V8; elsewhere it is an unknown property
  const before = traced.stackTraceLimit;
  traced.stackTraceLimit = 0;
  try {
    return work();
  } finally {
    if (before === undefined) delete traced.stackTraceLimit;
    else traced.stackTraceLimit = before;
  }
}
