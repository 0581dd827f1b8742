import type { RunRequest } from "@dyetrace/wire";
import type { DiskNeed as Need } from "@dyetrace/wire/console/run-forecast";
import { useEffect, useState } from "preact/hooks";
import { askController } from "../link/ask-controller.ts";
import { formatBytes } from "./format.ts";

/** Shorter runs take so little that nobody needs to think of it. */
const LONG_MS = 900_000;

/** Before a night begins: what it will take on disk. */
export function DiskNeed({ request, lastsMs }: { readonly request: RunRequest; readonly lastsMs: number }) {
  const [need, setNeed] = useState<Need | null>(null);
  const key = JSON.stringify(request);
  useEffect(() => {
    setNeed(null);
    if (lastsMs < LONG_MS) return;
    const gone = new AbortController();
    // If it can't be told, the start itself says why.
    askController<Need>("/api/runs/need", { method: "POST", body: request, signal: gone.signal }).then(
      setNeed,
      () => {},
    );
    return () => gone.abort();
  }, [key, lastsMs]);
  if (need === null) return null;
  return (
    <p class="disk-need">
      It takes about <b>{formatBytes(need.controllerBytes)}</b> on the controller's disk, and up to{" "}
      {formatBytes(need.agentBytes)} on an agent's if the controller were away all the time.
    </p>
  );
}
