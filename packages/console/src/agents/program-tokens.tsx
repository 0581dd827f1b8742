import type { AccessToken, TokenMade } from "@dyetrace/wire/console/access-token";
import { useEffect, useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { CopyLine } from "../parts/copy-line.tsx";
import { formatDay, formatInstant } from "../parts/format.ts";
import { RefusalNote } from "../parts/refusal-note.tsx";
import { SureButton } from "../parts/sure-button.tsx";
import { link } from "../state/console-state.ts";
import { session } from "../state/session.ts";
import { useAsked } from "./use-asked.tsx";

const DAY_S = 24 * 3600;
/** How long a token lasts, in words and seconds. */
const LASTS: readonly (readonly [string, number | null])[] = [
  ["30 days", 30 * DAY_S],
  ["90 days", 90 * DAY_S],
  ["a year", 365 * DAY_S],
  ["until it is removed", null],
];

/** Tokens of programs: listed, made, and taken away. On a controller where nobody signs in there is no need of any. */
export function ProgramTokens() {
  const isOn = link.value.kind === "on";
  const who = session.value;
  const [tokens, setTokens] = useState<readonly AccessToken[] | null>(null);
  const isNeeded = who !== null && !who.isOpen;
  const load = (): void => {
    if (!isOn || !isNeeded) return;
    askController<readonly AccessToken[]>("/api/tokens").then(setTokens, () => {});
  };
  useEffect(load, [isOn, isNeeded]);
  if (!isNeeded || tokens === null) return null;
  const mayChange = who.operator?.role === "operate";
  return (
    <section class="add-agent" aria-labelledby="program-tokens">
      <h2 id="program-tokens">Tokens for programs</h2>
      {tokens.length === 0 ? (
        <p>None yet. Prometheus, CI and cron sign in with one of their own.</p>
      ) : (
        <ul class="tokens">
          {tokens.map((token) => (
            <TokenEntry key={token.name} token={token} mayRemove={mayChange} onRemoved={load} />
          ))}
        </ul>
      )}
      {mayChange && <NewToken onMade={load} />}
    </section>
  );
}

function TokenEntry(props: {
  readonly token: AccessToken;
  readonly mayRemove: boolean;
  readonly onRemoved: () => void;
}) {
  const { name, scope, until, hasEnded, by, since, lastUse } = props.token;
  const { ask, note } = useAsked(props.onRemoved);
  const end = until === null ? "no end" : `${hasEnded ? "ended" : "ends"} ${formatDay(until)}`;
  return (
    <li>
      <b>{name}</b>
      <span>
        {scope}, {end}
      </span>
      <span class="small soft">
        {lastUse === null ? "not used yet" : `last used ${formatInstant(lastUse.at)} from ${lastUse.from}`}; made by{" "}
        {by} on {formatDay(since)}
      </span>
      <div class="agent-care">
        {props.mayRemove && (
          <SureButton
            label={`Remove ${name}`}
            sure={`Really remove ${name}?`}
            onSure={() => ask(`/api/tokens/${encodeURIComponent(name)}`, "DELETE", "Removed")}
          />
        )}
        {note}
      </div>
    </li>
  );
}

function NewToken({ onMade }: { readonly onMade: () => void }) {
  const [name, setName] = useState("");
  const [scope, setScope] = useState("view");
  const [lasts, setLasts] = useState(2);
  const [made, setMade] = useState<TokenMade | null>(null);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const make = (event: Event): void => {
    event.preventDefault();
    setRefusal(null);
    setMade(null);
    const body = { name: name.trim(), scope, lastsS: LASTS[lasts]?.[1] ?? null };
    askController<TokenMade>("/api/tokens", { method: "POST", body }).then(
      (answer) => {
        setMade(answer);
        setName("");
        onMade();
      },
      (error: unknown) => setRefusal(asRefusal(error)),
    );
  };
  return (
    <>
      <form onSubmit={make}>
        <div class="two-fields">
          <label class="field">
            <span>Name of the token</span>
            <input
              value={name}
              onInput={(event) => setName(event.currentTarget.value)}
              placeholder="prometheus"
              required
            />
          </label>
          <label class="field">
            <span>What it may do</span>
            <select value={scope} onChange={(event) => setScope(event.currentTarget.value)}>
              <option value="view">look, and scrape /metrics</option>
              <option value="operate">start and stop runs as well</option>
            </select>
          </label>
          <label class="field">
            <span>How long it lasts</span>
            <select value={lasts} onChange={(event) => setLasts(Number(event.currentTarget.value))}>
              {LASTS.map(([words], index) => (
                <option key={words} value={index}>
                  {words}
                </option>
              ))}
            </select>
          </label>
        </div>
        <button type="submit" class="press">
          Make the token
        </button>
      </form>
      {refusal !== null && <RefusalNote refusal={refusal} />}
      {made !== null && (
        <div role="status">
          <p>The token {made.name}. Copy it now: nobody can show it again.</p>
          <CopyLine text={made.token} />
          <p class="small soft">
            A program sends it as <code>Authorization: Bearer</code>; commands read it with <code>--token-file</code> or
            from DYETRACE_TOKEN.
          </p>
        </div>
      )}
    </>
  );
}
