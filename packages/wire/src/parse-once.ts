/** @returns what parses each text of a list; of a list that never changes, once however often it is asked */
export function parseOnce<Parsed>(parse: (text: string) => Parsed): (texts: readonly string[]) => readonly Parsed[] {
  const lists = new WeakMap<readonly string[], readonly Parsed[]>();
  return (texts) => {
    const known = lists.get(texts);
    if (known !== undefined) return known;
    const parsed = texts.map((text) => parse(text));
    lists.set(texts, parsed);
    return parsed;
  };
}
