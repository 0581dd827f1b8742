/** Where a run loads a link much, whoever starts it says so in words. */
export function ConfirmLoad(props: {
  readonly words: string;
  readonly said: string;
  readonly onSay: (text: string) => void;
}) {
  const { words, said, onSay } = props;
  return (
    <label class="field">
      <span>
        This loads a link much. If that may be, write: <b>{words}</b>
      </span>
      <input value={said} spellcheck={false} onInput={(event) => onSay(event.currentTarget.value)} />
    </label>
  );
}
