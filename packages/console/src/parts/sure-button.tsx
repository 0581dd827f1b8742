import { useState } from "preact/hooks";

/** A button that asks back before it does what cannot be undone. */
export function SureButton(props: { readonly label: string; readonly sure: string; readonly onSure: () => void }) {
  const [isSure, setSure] = useState(false);
  const press = (): void => {
    setSure(!isSure);
    if (isSure) props.onSure();
  };
  return (
    <button type="button" class="press small" onBlur={() => setSure(false)} onClick={press}>
      {isSure ? props.sure : props.label}
    </button>
  );
}
