import type { ProbeRun, ReportProbe } from "@dyetrace/wire";
import { useEffect, useState } from "preact/hooks";
import { askController } from "../link/ask-controller.ts";
import { link, run } from "../state/console-state.ts";
import { hrefTo } from "../state/route.ts";

/** Runs that were made to part this run's suspects; asked for anew when a run ends. */
export function useProbes(runId: string): readonly ProbeRun[] {
  const [probes, setProbes] = useState<readonly ProbeRun[]>([]);
  const isOn = link.value.kind === "on";
  const stage = run.value?.stage;
  useEffect(() => {
    if (!isOn) return;
    const gone = new AbortController();
    askController<readonly ProbeRun[]>(`/api/runs/${encodeURIComponent(runId)}/probes`, { signal: gone.signal }).then(
      setProbes,
      () => undefined, // the page has the finding without it
    );
    return () => gone.abort();
  }, [runId, isOn, stage]);
  return probes;
}

/** On a probe's own page: what it makes of the first run's suspects. */
export function ProbeOfRun({ probe }: { readonly probe: ReportProbe }) {
  return (
    <section class="probe-result">
      <h2>What this probe parts</h2>
      <p>{probe.title}.</p>
      <Parted probe={probe} />
      <p class="small">
        <a href={hrefTo("findings", probe.of)}>The run that it was made for</a>
      </p>
    </section>
  );
}

/** On the first run's finding: what each of its probes said. */
export function ProbesOfFinding({ probes, index }: { readonly probes: readonly ProbeRun[]; readonly index: number }) {
  const own = probes.filter(({ probe }) => probe?.finding === index);
  if (own.length === 0) return null;
  return (
    <section class="probe-result">
      <h3>What {own.length === 1 ? "a probe" : "probes"} said of them</h3>
      {own.map(({ runId, probe }) =>
        probe === null ? null : (
          <div key={runId} class="probe-said">
            <p>{probe.title}.</p>
            <Parted probe={probe} />
            <p class="small">
              <a href={hrefTo("findings", runId)}>The probe’s own report</a>
            </p>
          </div>
        ),
      )}
    </section>
  );
}

/** Suspects before, those that are ruled out struck through: told by words too, not by the stroke alone. */
function Parted({ probe }: { readonly probe: ReportProbe }) {
  const { before, after, outcome } = probe;
  if (outcome !== "narrowed") return null;
  return (
    <ul class="parted">
      {before.map((name) => {
        const isLeft = after.includes(name);
        return (
          <li key={name} class={isLeft ? "left" : "ruled-out"}>
            <code>{isLeft ? name : <s>{name}</s>}</code>
            <span class="small soft">{isLeft ? "left" : "ruled out"}</span>
          </li>
        );
      })}
    </ul>
  );
}
