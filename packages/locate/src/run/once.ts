/** What takes long is worked out when it is asked for first, and kept. */
export function once<T>(work: () => T): () => T {
  let known: { readonly value: T } | null = null;
  return () => {
    known ??= { value: work() };
    return known.value;
  };
}
