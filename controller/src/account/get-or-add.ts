/** The value that a map holds for a key; where it holds none, a new one, which it then holds. */
export function getOrAdd<K, V>(map: Map<K, V>, key: K, make: () => V): V {
  const known = map.get(key);
  if (known !== undefined) return known;
  const made = make();
  map.set(key, made);
  return made;
}
