import { explanationConfidence } from "../cover/explanation-confidence.ts";
import { companionEvidence } from "../finding/companion-evidence.ts";
import type { FindingFamily } from "../finding/finding-row.ts";
import { bestListener, placeNumber } from "../tell-apart/next-listener.ts";
import type { StopCase } from "./stop-case.ts";
import { stopCauses } from "./stop-causes.ts";
import { stopEvidence } from "./stop-wording.ts";

/** What every finding about a stop names, shows and doubts. */
export const STOP_FAMILY: FindingFamily<StopCase> = {
  streams: ({ streams }) => streams,
  suspects: ({ suspects }) => suspects,
  witnesses: ({ silentHosts }) => silentHosts,
  evidence: (stop, suspects) => [
    ...companionEvidence(stop.unicast),
    ...stopEvidence(stop, suspects),
    ...nextAgent(stop, suspects),
  ],
  confidence: (stop, ofRow) =>
    explanationConfidence(ofRow, stop.failure, stop.isExact) * (isSourceSilent(stop) ? NO_REPORT_FACTOR : 1),
  causes: stopCauses,
  advice: ({ unicast }) => (unicast.poor.length > 0 && unicast.sound.length === 0 ? NOT_MULTICAST : null),
};

/** What is left of the confidence where a source did not say what it sent: it may have stopped by itself. Our estimate, no source. */
const NO_REPORT_FACTOR = 0.8;

const isSourceSilent = ({ facts }: StopCase): boolean => facts.some(({ stream }) => stream.sentPackets === null);

const NOT_MULTICAST =
  "Unicast does not come through either: look at the cable, the link's state, the VLAN of both ports and the hosts' addresses before anything that concerns groups.";

/** Where one more agent would part these suspects. */
function nextAgent({ site, facts, choices }: StopCase, suspects: readonly string[]): string[] {
  const trees = [...new Set(facts.map((one) => one.tree))];
  const numbers = suspects.flatMap((name) => placeNumber(site, name) ?? []);
  const best = bestListener(choices.of(trees), numbers);
  return best === null
    ? []
    : [`One more agent beside ${best.name}, listening to the same, would tell these suspects apart best.`];
}
