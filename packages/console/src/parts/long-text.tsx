/** Longer sentences are lists of names. */
const MOST_LETTERS = 400;
const SHOWN_LETTERS = 240;

/** A sentence; of one that names a hundred hosts the beginning, and all of it when it is opened. */
export function LongText({ text }: { readonly text: string }) {
  if (text.length <= MOST_LETTERS) return <>{text}</>;
  return (
    <details>
      <summary>{beginningOf(text)} …</summary>
      {text}
    </details>
  );
}

function beginningOf(text: string): string {
  const comma = text.lastIndexOf(",", SHOWN_LETTERS);
  return text.slice(0, comma > 0 ? comma : SHOWN_LETTERS);
}
