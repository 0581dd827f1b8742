import { session, signOut } from "../state/session.ts";

/** In the page's head: who has signed in, or that nobody needs to. */
export function WhoIsHere() {
  const now = session.value;
  if (now === null) return null;
  if (now.isOpen) return <span class="soft small">no sign-in: only this machine can reach it</span>;
  if (now.operator === null) return null;
  return (
    <span class="small who">
      {now.operator.name}
      {now.operator.role === "view" && <span class="soft"> (may look)</span>}{" "}
      <button type="button" class="press small" onClick={() => void signOut()}>
        Sign out
      </button>
    </span>
  );
}
