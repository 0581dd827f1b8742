import { expect, test } from "vitest";
import { drawOne, seededRandom } from "../../../../tests/simulation/seeded-random.ts";
import { simulateRun } from "../../../../tests/simulation/simulate-run.ts";
import { drawStopScene } from "../../../../tests/simulation/stop-scene.ts";
import { smallestFailureSet } from "../cover/failure-set.ts";
import { streamTrials } from "../cover/stream-trials.ts";
import { streamFacts } from "../run/stream-facts.ts";
import { indexSite } from "../site/site-index.ts";
import { leastFaultsFrom } from "./least-faults.ts";
import { placesFor, siteWithHostAt } from "./site-with-host-at.ts";

test("least faults: given a source anywhere, then the smallest explanation takes as many at least", () => {
  const random = seededRandom(11);
  let most = 0;
  for (let i = 0; i < 25; i++) {
    const { graph, streams, candidates } = drawStopScene(random, 8, 25);
    const run = simulateRun(graph, streams, [drawOne(random, candidates), drawOne(random, candidates)], random);
    const site = indexSite(graph);
    const host = run.streams[0]?.source ?? "";
    const own = streamFacts(site, run).filter(({ stream }) => stream.source === host);
    const leastFaults = leastFaultsFrom(site, own);
    for (const at of placesFor(graph, host).slice(0, 6)) {
      const moved = indexSite(siteWithHostAt(graph, host, at));
      const { failures, unexplained } = smallestFailureSet(moved, streamFacts(moved, run).flatMap(streamTrials));
      const least = leastFaults(site.nodeNumber.get(at) ?? -1);
      expect(failures.length + unexplained.length).toBeGreaterThanOrEqual(least);
      most = Math.max(most, least);
    }
  }
  expect(most).toBeGreaterThan(1);
});
