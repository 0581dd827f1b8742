import type { VNode } from "preact";
import { useState } from "preact/hooks";

/** The first of many, and a button that shows the others; null where there are none. */
export function useFirst<T>(
  all: readonly T[],
  most: number,
): { readonly shown: readonly T[]; readonly more: VNode | null } {
  const [isWhole, setWhole] = useState(false);
  if (isWhole || all.length <= most) return { shown: all, more: null };
  return {
    shown: all.slice(0, most),
    more: (
      <button type="button" class="press small more" onClick={() => setWhole(true)}>
        and {all.length - most} more
      </button>
    ),
  };
}
