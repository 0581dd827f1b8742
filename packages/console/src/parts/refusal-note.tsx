import type { Refusal } from "../link/ask-controller.ts";

/** What went wrong and what to do about it. */
export function RefusalNote({ refusal }: { readonly refusal: Refusal }) {
  return (
    <div class="refusal" role="alert">
      <p>{refusal.message}</p>
      {refusal.hint !== "" && <p class="small soft">{refusal.hint}</p>}
    </div>
  );
}
