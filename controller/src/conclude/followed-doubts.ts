import type { SiteGraph } from "@dyetrace/site";
import type { ReportReceipt } from "@dyetrace/wire";
import type { RunAccount } from "../account/run-account.ts";
import type { CompiledStream } from "../plan/compiled-run.ts";
import { commonSilence, whenSilent } from "./common-silence.ts";
import { endedNs } from "./followed-words.ts";

/** What keeps a run that followed streams of others from a pass though nothing is accused, as sentences: nobody can say whether all is well. */
export function followedDoubts(account: RunAccount, receipts: readonly ReportReceipt[], graph: SiteGraph): string[] {
  return account.run.streams.flatMap((stream) => [
    ...unplacedLoss(stream, receipts, graph),
    ...endedEarly(stream, account),
    ...silentToAll(stream, account),
  ]);
}

function silentToAll(stream: CompiledStream, { stays }: RunAccount): string[] {
  const silence = commonSilence(stream, stays);
  return silence === null
    ? []
    : [`${stream.name} came to nobody ${whenSilent(silence)}: whether it paused or was lost to all is not known.`];
}

/** Without the place of the sender no loss can be put on a way. */
export function unplacedNotes({ run }: RunAccount, graph: SiteGraph): string[] {
  return run.streams.flatMap((stream) => {
    if (!isUnplaced(stream, graph)) return [];
    const { name, followed } = stream;
    const from = followed?.senders.join(" and ") ?? "";
    return [
      `${name} comes from ${from}, which is no place in the site plan: what is lost of it is known, and where is not. Give a node of the plan that address, such as sender: { kind: host, agent: none, address: ${followed?.senders[0]} }.`,
    ];
  });
}

const isUnplaced = ({ sourceHost, followed }: CompiledStream, graph: SiteGraph): boolean =>
  followed !== undefined && followed.senders.length > 0 && !graph.nodes.has(sourceHost);

function unplacedLoss(stream: CompiledStream, receipts: readonly ReportReceipt[], graph: SiteGraph): string[] {
  if (!isUnplaced(stream, graph)) return [];
  const hit = receipts.filter((one) => one.stream === stream.name && ((one.lost ?? 0) > 0 || one.received === 0));
  if (hit.length === 0) return [];
  const most = hit.reduce((worst, { lossRatio }) => Math.max(worst, lossRatio ?? 1), 0);
  const who = hit.map(({ listener }) => listener).join(", ");
  return [
    `${who} lost up to ${(most * 100).toFixed(1)} % of ${stream.name}, and where can't be told: its sender is no place in the site plan.`,
  ];
}

function endedEarly(stream: CompiledStream, { run, sources }: RunAccount): string[] {
  if (stream.followed === undefined) return [];
  const ended = endedNs(
    stream,
    run.joins,
    sources.get(stream.name)?.emission.intervals.at(-1)?.toNs ?? null,
    run.endNs,
  );
  return ended === null
    ? []
    : [
        `${stream.name} came to nobody from ${(ended / 1e9).toFixed(0)} s on: whether it was to end there is not known.`,
      ];
}
