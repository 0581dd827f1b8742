import { CST, Lexer } from "yaml";

/**
 * Looks for nesting that would exhaust the parser's memory: 200 000 opening brackets ended the process in a trial.
 * @returns the offset where it becomes too deep, or null
 */
export function findDeepNesting(source: string, maxNesting: number): number | null {
  let brackets = 0;
  let dashes = 0; // list and key marks in a row on one line: `- - - -`
  let offset = 0;
  for (const token of new Lexer().lex(source)) {
    const type = CST.tokenType(token);
    if (type === "flow-map-start" || type === "flow-seq-start") brackets++;
    else if (type === "flow-map-end" || type === "flow-seq-end") brackets--;
    else if (type === "seq-item-ind" || type === "explicit-key-ind") dashes++;
    else if (type === "newline") dashes = 0;
    if (brackets > maxNesting || dashes > maxNesting) return offset;
    if (type !== "doc-mode" && type !== "flow-error-end" && type !== "scalar") offset += token.length;
  }
  return null;
}
