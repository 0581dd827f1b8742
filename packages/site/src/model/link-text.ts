import { type DataPath, didYouMean, type FileMistakes, shown } from "@dyetrace/wire";
import type { PortRef } from "./site-model.ts";

/** Two names of 31 characters, two ports of 13, and room. */
const MOST_CHARACTERS = 200;
const PORT_NAME = /^[A-Za-z0-9][A-Za-z0-9._/-]{0,12}$/;

/**
 * Takes `core:1 -- pier-east:24` apart.
 * @returns the two ends as written, or null if there are not two with ` -- ` between them
 */
export function parseLinkText(text: string): readonly [string, string] | null {
  if (text.length > MOST_CHARACTERS) return null; // the pattern begins anew at each of many spaces
  const [a, b, ...more] = text.split(/\s+--\s+/);
  return a === undefined || b === undefined || more.length > 0 || /\s/.test(a + b) ? null : [a, b];
}

/** @returns the port that `text` (`core:1`) names, or null with a mistake added at `path` */
export function readPortRef(
  text: string,
  path: DataPath,
  nodeNames: ReadonlySet<string>,
  mistakes: FileMistakes,
): PortRef | null {
  const colon = text.indexOf(":");
  const node = text.slice(0, Math.max(colon, 0));
  const port = text.slice(colon + 1);
  if (colon < 1) {
    mistakes.add(path, `"${shown(text)}" is not a port`, "Write node:port, for example core:1");
    return null;
  }
  if (!nodeNames.has(node)) {
    mistakes.add(path, `No node is called "${shown(node)}"`, () => didYouMean(node, nodeNames, `Add it under "nodes"`));
    return null;
  }
  if (!PORT_NAME.test(port)) {
    const rule = "Begin with a letter or digit and use letters, digits, `.`, `_`, `/` and `-`, 13 at most";
    mistakes.add(path, `"${shown(port)}" cannot be the name of a port`, rule);
    return null;
  }
  return { node, port };
}
