import { MapPatterns } from "@dyetrace/picture/shapes/map-patterns";
import type { ComponentType } from "preact";
import { useEffect, useRef } from "preact/hooks";
import { formatClock } from "../parts/format.ts";
import { StopEverySource, StopNotice } from "../parts/stop-every-source.tsx";
import { WhoIsHere } from "../parts/who-is-here.tsx";
import { isPractice, isRunning, link, lostRun, plan, run } from "../state/console-state.ts";
import { useNamedRun } from "../state/named-run.ts";
import { PAGES, type Page } from "../state/parse-route.ts";
import { hrefAlong, hrefTo, route } from "../state/route.ts";
import { useViewedRun } from "../state/run-view.ts";
import { isSignInNeeded } from "../state/session.ts";
import { AgentsPage } from "./agents-page.tsx";
import { AuditPage } from "./audit-page.tsx";
import { FindingsPage } from "./findings-page.tsx";
import { InventoryPage } from "./inventory-page.tsx";
import { LivePage } from "./live-page.tsx";
import { MapPage } from "./map-page.tsx";
import { NightPage } from "./night-page.tsx";
import { onDemand } from "./on-demand.tsx";
import { PracticePage } from "./practice-page.tsx";
import { RunPage } from "./run-page.tsx";
import { RunsPage } from "./runs-page.tsx";
import { SignInPage } from "./sign-in-page.tsx";
import { StoryPage } from "./story-page.tsx";

const NAMES: Readonly<Record<Page, string>> = {
  map: "Map",
  run: "Run",
  live: "Live",
  story: "Story",
  findings: "Findings",
  night: "Night",
  runs: "Runs",
  agents: "Agents",
  inventory: "Inventory",
  plan: "Plan",
  switches: "Switches",
  practice: "Practice",
  audit: "Log",
};

const VIEWS: Readonly<Record<Page, ComponentType>> = {
  map: MapPage,
  run: RunPage,
  live: LivePage,
  story: StoryPage,
  findings: FindingsPage,
  night: NightPage,
  runs: RunsPage,
  agents: AgentsPage,
  inventory: InventoryPage,
  plan: onDemand(async () => (await import("./plan-page.tsx")).PlanPage),
  switches: onDemand(async () => (await import("./switches-page.tsx")).SwitchesPage),
  practice: PracticePage,
  audit: AuditPage,
};

export function App() {
  const { page, of } = route.value;
  useNamedRun();
  const viewed = useViewedRun(of);
  const site = viewed.kind === "run" ? viewed.view.drawing.site : (plan.value?.drawing.site ?? null);
  const View = VIEWS[page];
  const main = useRef<HTMLElement>(null);
  const isFirst = useRef(true);
  useEffect(() => {
    document.title = `${NAMES[page]} · ${site ?? "dyetrace"}`;
    // A new page is announced and the keyboard starts at its top; not on the very first, which nobody asked for.
    // It begins with its head in sight: focus alone would scroll the names of the pages away.
    if (!isFirst.current) {
      main.current?.focus({ preventScroll: true });
      scrollTo(0, 0);
    }
    isFirst.current = false;
  }, [page]);
  return (
    <div class="frame">
      <MapPatterns />
      <header class="head">
        <span class="mark">dyetrace</span>
        <h1>{isSignInNeeded.value ? "Not signed in" : (site ?? "No site plan yet")}</h1>
        {isPractice.value && <span class="soft small">practice site</span>}
        <WhoIsHere />
        <span class="where">{location.host}</span>
        <StopEverySource />
      </header>
      <nav class={`pages${isRunning.value ? " is-live" : ""}`} aria-label="Pages">
        <ul>
          {PAGES.filter(isOffered).map((name) => (
            <li key={name}>
              <a href={hrefAlong(name)} data-name={NAMES[name]} aria-current={name === page ? "page" : undefined}>
                {NAMES[name]}
              </a>
            </li>
          ))}
        </ul>
      </nav>
      <div>
        <StopNotice />
        <ControllerNotice />
        <OtherRunNotice />
        <main class="main" ref={main} tabIndex={-1}>
          {isSignInNeeded.value ? (
            <SignInPage />
          ) : link.value.kind === "connecting" ? (
            <p class="empty">Asking the controller …</p>
          ) : (
            <View />
          )}
        </main>
      </div>
    </div>
  );
}

/** A real site has no faults to put in. */
const isOffered = (page: Page): boolean => page !== "practice" || isPractice.value;

/** A run goes on, and the address names another: whatever the page shows is not about what happens now. */
function OtherRunNotice() {
  const { of, page } = route.value;
  const current = run.value;
  const isOther = isRunning.value && current !== null && of !== null && of !== current.runId;
  return (
    <div role="status">
      {isOther && ABOUT_A_RUN.has(page) && (
        <div class="gone">
          <strong>A run of {current.outline.scenario} is going on.</strong>
          <span>
            This page is about another run. <a href={hrefTo(page, current.runId)}>Show the one that is going on.</a>
          </span>
        </div>
      )}
    </div>
  );
}

const ABOUT_A_RUN: ReadonlySet<Page> = new Set(["map", "live", "findings", "story", "night"]);

/** Says that the controller is away, and afterwards what it took with it. */
function ControllerNotice() {
  const state = link.value;
  const lost = lostRun.value;
  return (
    <div role="status">
      {state.kind === "gone" && !isSignInNeeded.value && (
        <div class="gone">
          <strong>The controller does not answer.</strong>
          <span>
            Since {formatClock(state.since)}. Nothing on this page is current until it does; it comes back by itself.
          </span>
        </div>
      )}
      {state.kind === "on" && lost !== null && (
        <div class="gone">
          <strong>The controller was started anew.</strong>
          <span>The run of {lost.scenario} that was going on ended with it.</span>
          <button
            type="button"
            class="press small"
            onClick={() => {
              lostRun.value = null;
            }}
          >
            Understood
          </button>
        </div>
      )}
    </div>
  );
}
