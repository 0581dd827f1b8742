import { useState } from "preact/hooks";
import { asRefusal, type Refusal } from "../link/ask-controller.ts";
import { RefusalNote } from "../parts/refusal-note.tsx";
import { session, signIn } from "../state/session.ts";

/** All that a controller shows to somebody who has not signed in. */
export function SignInPage() {
  const [name, setName] = useState("");
  const [password, setPassword] = useState("");
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const [isAsking, setAsking] = useState(false);
  const submit = (event: Event): void => {
    event.preventDefault();
    setAsking(true);
    setRefusal(null);
    signIn(name, password)
      .catch((error: unknown) => setRefusal(asRefusal(error)))
      .finally(() => setAsking(false));
  };
  return (
    <form class="sign-in" onSubmit={submit}>
      <h2>Sign in</h2>
      {session.value?.hasOperators === false && (
        <p>
          Nobody can yet. On the controller's own machine: <code>npx dyetrace operator add NAME --role operate</code>
        </p>
      )}
      <label class="field">
        <span>Name</span>
        <input value={name} autocomplete="username" required onInput={(event) => setName(event.currentTarget.value)} />
      </label>
      <label class="field">
        <span>Password</span>
        <input
          type="password"
          value={password}
          autocomplete="current-password"
          required
          onInput={(event) => setPassword(event.currentTarget.value)}
        />
      </label>
      {refusal !== null && <RefusalNote refusal={refusal} />}
      <button type="submit" class="press pours" disabled={isAsking}>
        {isAsking ? "Asking …" : "Sign in"}
      </button>
    </form>
  );
}
