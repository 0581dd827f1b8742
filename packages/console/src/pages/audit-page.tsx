import type { AuditEntry } from "@dyetrace/wire/console/console-session";
import { useEffect, useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { Awaited } from "../parts/awaited.tsx";
import { formatInstant } from "../parts/format.ts";
import { RefusalNote } from "../parts/refusal-note.tsx";
import { useFirst } from "../parts/use-first.tsx";
import { link } from "../state/console-state.ts";

const MOST_ENTRIES = 100;

/** Who did what, newest first. */
export function AuditPage() {
  const [entries, setEntries] = useState<readonly AuditEntry[] | null>(null);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const isOn = link.value.kind === "on";
  useEffect(() => {
    if (!isOn) return;
    askController<readonly AuditEntry[]>("/api/audit").then(setEntries, (error: unknown) =>
      setRefusal(asRefusal(error)),
    );
  }, [isOn]);
  const { shown, more } = useFirst(entries ?? [], MOST_ENTRIES);
  if (refusal !== null) return <RefusalNote refusal={refusal} />;
  if (entries === null) return <Awaited what="the log" />;
  if (entries.length === 0) return <p class="empty">Nobody has changed anything yet.</p>;
  return (
    <div class="audit-page">
      <table class="audit">
        <thead>
          <tr>
            <th scope="col">when</th>
            <th scope="col">who</th>
            <th scope="col">from</th>
            <th scope="col">did what</th>
          </tr>
        </thead>
        <tbody>
          {shown.map(({ at, who, from, what }, index) => (
            <tr key={`${at} ${index}`}>
              <td>
                <time dateTime={at}>{formatInstant(at)}</time>
              </td>
              <td>{who}</td>
              <td>{from}</td>
              <td>{what}</td>
            </tr>
          ))}
        </tbody>
      </table>
      {more}
    </div>
  );
}
