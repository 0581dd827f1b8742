import { useRef, useState } from "preact/hooks";

/** A command to copy as a whole. */
export function CopyLine({ text }: { readonly text: string }) {
  const line = useRef<HTMLElement>(null);
  const [says, setSays] = useState("Copy");
  const copy = async (): Promise<void> => {
    try {
      await navigator.clipboard.writeText(text);
      setSays("Copied");
    } catch {
      // Only pages from this machine or over TLS may write to the clipboard: then the line is selected at least.
      if (line.current !== null) getSelection()?.selectAllChildren(line.current);
      setSays("Selected");
    }
    setTimeout(() => setSays("Copy"), 2000);
  };
  return (
    <div class="copy-line">
      <code ref={line}>{text}</code>
      <button type="button" class="press small" onClick={() => void copy()}>
        {says}
      </button>
    </div>
  );
}
