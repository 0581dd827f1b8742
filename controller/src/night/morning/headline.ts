import { formatDurationNs, type Night } from "@dyetrace/wire";
import { listed } from "../incident-facts.ts";
import { followedSoundWords, followedWords } from "./followed-night.ts";

/** What happened, in one sentence: how much, what did the most harm, and who was not watched all the time. Pure. */
export function headlineOf(night: Omit<Night, "headline">): string {
  const { untilMs, isOver, incidents, worst, unwatched } = night;
  const length = `${formatDurationNs(untilMs * 1e6)}${isOver ? "" : " so far"}`;
  const steady = incidents.filter(({ isSteady }) => isSteady === true).length;
  const once = incidents.length - steady;
  const counts = [
    ...(once === 0 ? [] : [`${once} ${once === 1 ? "incident" : "incidents"}`]),
    ...(steady === 0 ? [] : [`${steady} ${steady === 1 ? "thing" : "things"} that went on for long`]),
  ];
  // Of an absence nobody knows the harm: who was not watched stands at the end.
  const first = worst.find(({ withoutMs }) => withoutMs !== undefined && withoutMs > 0);
  const what =
    incidents.length === 0
      ? soundWords(night)
      : `In ${length} there ${incidents.length === 1 ? "was" : "were"} ${counts.join(" and ")}`;
  const most = first === undefined ? "" : `; the worst: ${first.title}`;
  const ofOthers = night.followsOthers === true && incidents.length > 0 ? `; ${followedWords(night)}` : "";
  return `${what}${most}${ofOthers}${unwatchedWords(unwatched)}.`;
}

/** Nothing happened: as much as is known. */
function soundWords(night: Omit<Night, "headline">): string {
  if (night.followsOthers === true) return followedSoundWords(night);
  const { listeners, received, hostLost, untilMs, isOver } = night;
  const length = `${formatDurationNs(untilMs * 1e6)}${isOver ? "" : " so far"}`;
  if (received === 0) return `In ${length} nothing was measured`;
  const who = listeners.length === 1 ? "1 listener" : `${listeners.length} listeners`;
  const host = hostLost === null ? "; what their own hosts dropped is not known of all" : "";
  return `In ${length} nothing was lost on the way to ${who}, and there were no incidents${host}`;
}

function unwatchedWords(unwatched: Night["unwatched"]): string {
  const never = distinct(unwatched.flatMap(({ agent, why }) => (why === "never-there" ? agent : [])));
  const parts = distinct(
    unwatched.flatMap(({ agent, why }) => (why === "away" || why === "reports-dropped" ? agent : [])),
  );
  return [
    ...(never.length === 0 ? [] : [`; ${listed(never)} took no part`]),
    ...(parts.length === 0
      ? []
      : [`; ${listed(parts)} ${parts.length === 1 ? "was" : "were"} not watched all the time`]),
  ].join("");
}

const distinct = (names: readonly string[]): string[] => [...new Set(names)];
