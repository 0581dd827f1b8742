import type { EnrolledAgent } from "@dyetrace/wire/console/console-agent";
import { SureButton } from "../parts/sure-button.tsx";
import { useAsked } from "./use-asked.tsx";

/** Having an agent's credential exchanged for another one, and taking it away. */
export function CredentialCare(props: { readonly enrolled: EnrolledAgent; readonly onDone: () => void }) {
  const { enrolled, onDone } = props;
  const { name, hasEnded } = enrolled;
  const { ask, note } = useAsked(onDone);
  return (
    <div class="agent-care">
      {!hasEnded && (
        <button
          type="button"
          class="press small"
          onClick={() => ask("/api/enrolled/rotate", "POST", "Ordered: now, or when it connects", { name })}
        >
          Exchange credential
        </button>
      )}
      <SureButton
        label="Revoke"
        sure={`Really take ${name} out?`}
        onSure={() => ask(`/api/enrolled/${encodeURIComponent(name)}`, "DELETE", "Revoked")}
      />
      {note}
    </div>
  );
}
