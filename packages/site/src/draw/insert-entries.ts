/**
 * Puts lines at the end of a list or mapping that stands at the top of a YAML file, behind its last entry and before what follows; as
 * deep as its entries are. Pure text: comments and order stay.
 * @param entries each with two spaces before it, as a plan of ours has them
 * @returns null where there is no such key with entries on lines of their own
 */
export function insertEntries(text: string, key: string, entries: readonly string[]): string | null {
  if (entries.length === 0) return text;
  const lines = text.split("\n");
  const head = lines.findIndex((line) => new RegExp(`^${key}:\\s*(#.*)?$`).test(line));
  if (head < 0) return null;
  let last = head;
  for (let at = head + 1; at < lines.length; at++) {
    const line = lines[at] ?? "";
    if (/^\s*(#.*)?$/.test(line)) continue;
    // An entry of a list may stand at the margin; whatever else does is the next key.
    if (!/^\s/.test(line) && !line.startsWith("- ")) break;
    last = at;
  }
  if (last === head) return null;
  const first = lines.slice(head + 1).find((line) => !/^\s*(#.*)?$/.test(line)) ?? "";
  const depth = /^\s*/.exec(first)?.[0] ?? "";
  const added = entries.map((entry) => `${depth}${entry.trimStart()}`);
  return [...lines.slice(0, last + 1), ...added, ...lines.slice(last + 1)].join("\n");
}
