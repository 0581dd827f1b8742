import { checkScenarioAgainstSite, type SiteGraph } from "@dyetrace/site";
import { Fault, type LoadedScenario, loadScenario, type RunRequest } from "@dyetrace/wire";
import type { adviseGroups } from "../plan/check-plan.ts";

/** @param membershipIntervalNs the site's own where it is known */
export function readScenario(
  request: RunRequest,
  graph: SiteGraph,
  membershipIntervalNs: number | null,
): LoadedScenario {
  const loaded = loadScenario(request.scenario.text, request.scenario.file, {
    parameters: request.parameters ?? {},
    ...(membershipIntervalNs === null ? {} : { membershipIntervalNs }),
  });
  checkScenarioAgainstSite(loaded, graph);
  return loaded;
}

/** @throws {Fault} GROUP_UNFIT */
export function refuseUnfitGroups(advice: ReturnType<typeof adviseGroups>): void {
  const [first] = advice.filter(({ level }) => level === "refuse");
  if (first === undefined) return;
  throw new Fault(
    "GROUP_UNFIT",
    `${first.sentence} (${first.reference})`,
    "Choose a group inside 239.192.0.0/14, or insist with --despite-advice",
  );
}

/** @throws {Fault} OPTION_INVALID: on a live site a hold below the membership interval would prove nothing */
export function refuseShortened({ scenario }: LoadedScenario, { parameters }: RunRequest): void {
  const [name] = scenario.shortened;
  if (name === undefined) return;
  throw new Fault(
    "OPTION_INVALID",
    `${name}=${parameters?.[name]} is shorter than the group membership interval, so nothing could age within it`,
    "Only a practice site, whose timers are short, may shorten it; leave it out here",
  );
}
