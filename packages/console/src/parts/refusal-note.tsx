import type { Refusal } from "../link/ask-controller.ts";

/** What went wrong and what to do about it. */
export function RefusalNote({ refusal }: { readonly refusal: Refusal }) {
  return (
    <div class="refusal" role="alert">
      <p>{refusal.message}</p>
      <p class="small soft">
        {refusal.hint !== "" && `${refusal.hint} `}
        <code>{refusal.code}</code>
      </p>
    </div>
  );
}
