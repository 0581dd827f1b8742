import { useState } from "preact/hooks";

/** A fault file, pasted whole. */
export function OwnFaults({ isBusy, onPut }: { readonly isBusy: boolean; readonly onPut: (file: string) => void }) {
  const [text, setText] = useState("");
  return (
    <details>
      <summary>Or paste a fault file</summary>
      <form
        class="new-fault"
        onSubmit={(event) => {
          event.preventDefault();
          onPut(text);
        }}
      >
        <label class="field">
          <span>Fault file (YAML)</span>
          <textarea
            rows={8}
            required
            spellcheck={false}
            class="code"
            value={text}
            onInput={(event) => setText(event.currentTarget.value)}
          />
        </label>
        <button type="submit" class="press" disabled={isBusy}>
          Put these in
        </button>
      </form>
    </details>
  );
}
