import { readLostNumbers } from "../intake/lost-numbers.ts";
import type { CompiledRun, CompiledStream } from "../plan/compiled-run.ts";
import type { Episode } from "../store/pack/kept-report.ts";

/** A gap of this many packets and this length is a silence, not chance; `locate` holds an outage against the same. */
const SILENCE_PACKETS = 10;
const SILENCE_NS = 100e6;

/** Mean time between two packets, or between two bursts. */
export const intervalNs = (stream: CompiledStream): number => packetNs(stream) * stream.burstPackets;

/** What one packet is worth in time. */
export const packetNs = ({ payloadBytes, rateBps }: Pick<CompiledStream, "payloadBytes" | "rateBps">): number =>
  (payloadBytes * 8e9) / rateBps;

/** @returns whether a loss with numbers tells of a silence at the same listener */
export const isWithin = (loss: Episode, silence: Episode): boolean =>
  loss.agent === silence.agent &&
  loss.streamId === silence.streamId &&
  loss.fromNs < silence.toNs &&
  loss.toNs > silence.fromNs;

const isLong = (packets: number, stream: CompiledStream): boolean =>
  packets >= SILENCE_PACKETS && packets * packetNs(stream) >= SILENCE_NS;

/** @returns whether an episode of a run has a gap that is a silence */
export function silenceLength(run: CompiledRun): (episode: Episode) => boolean {
  const streams = new Map(run.streams.map((stream) => [stream.streamId, stream]));
  return ({ kind, streamId, detail }) => {
    const stream = streamId === null ? undefined : streams.get(streamId);
    if (kind !== "loss" || stream === undefined) return false;
    return readLostNumbers(detail).some(([first, last]) => isLong(last - first + 1, stream));
  };
}

/**
 * Parts the silences of losses from single packets that were lost beside them: the one has an instant, a place of its own and
 * an end; the other goes by numbers. The sum of packets stays.
 */
export function partSilences(
  losses: readonly Episode[],
  stream: CompiledStream,
): { readonly silences: readonly Episode[]; readonly rest: readonly Episode[] } {
  const silences: Episode[] = [];
  const rest: Episode[] = [];
  for (const loss of losses) {
    const runs = readLostNumbers(loss.detail);
    const [[origin] = [0]] = runs;
    const long = runs.filter(([first, last]) => isLong(last - first + 1, stream));
    if (long.length === 1 && runs.length === 1) {
      silences.push({ ...loss, detail: "" }); // it has its own beginning and end
      continue;
    }
    let left = loss.count;
    for (const [first, last] of long) {
      const fromNs = Math.min(loss.toNs, loss.fromNs + (first - origin) * packetNs(stream));
      const toNs = Math.min(loss.toNs, fromNs + (last - first + 2) * packetNs(stream));
      const count = Math.min(left, last - first + 1);
      left -= count;
      silences.push({ ...loss, fromNs, toNs, count, detail: "" });
    }
    if (left === 0) continue;
    const short = runs.filter((run) => !long.includes(run));
    rest.push({ ...loss, count: left, detail: short.map(([first, last]) => `${first}-${last}`).join(" ") });
  }
  return { silences, rest };
}

/** A time in which the same listeners got nothing. */
export interface SilentMoment {
  readonly fromNs: number;
  readonly toNs: number;
  /** What each of them missed in it. */
  readonly slices: readonly Episode[];
}

/**
 * Cuts the silences of one stream where the listeners that have one change: outages that overlap in time have an end and a
 * place of their own each.
 * @param slackNs ends that differ by less are the same
 */
export function silentMoments(silences: readonly Episode[], slackNs: number): SilentMoment[] {
  const spans = spansOf(silences, slackNs);
  const moments = spans.map((span): SilentMoment & { readonly slices: Episode[] } => ({ ...span, slices: [] }));
  const alone: SilentMoment[] = [];
  for (const silence of silences) {
    const own = moments.filter((moment) => overlapNs(moment, silence) >= Math.min(slackNs, lastsNs(moment)));
    if (own.length === 0) alone.push({ fromNs: silence.fromNs, toNs: silence.toNs, slices: [silence] });
    for (const [i, slice] of sliced(silence, own).entries()) own[i]?.slices.push(slice);
  }
  return [...moments.filter(({ slices }) => slices.length > 0), ...alone];
}

interface Span {
  readonly fromNs: number;
  readonly toNs: number;
}

const lastsNs = ({ fromNs, toNs }: Span): number => toNs - fromNs;
const overlapNs = (a: Span, b: Span): number => Math.min(a.toNs, b.toNs) - Math.max(a.fromNs, b.fromNs);

/** From one change of the silent listeners to the next, where that lasts. */
function spansOf(silences: readonly Episode[], slackNs: number): Span[] {
  const changes = silences
    .flatMap(({ agent, fromNs, toNs }) => [
      { atNs: fromNs, agent, by: 1 },
      { atNs: toNs, agent, by: -1 },
    ])
    .toSorted((a, b) => a.atNs - b.atNs);
  const silent = new Map<string, number>();
  const spans: (Span & { readonly who: string })[] = [];
  let sinceNs = 0;
  for (const { atNs, agent, by } of changes) {
    const who = [...silent.keys()].toSorted().join(" ");
    const last = spans.at(-1);
    if (who !== "" && atNs - sinceNs >= slackNs) {
      const isSame = last?.who === who && sinceNs - last.toNs < slackNs;
      spans.splice(isSame ? -1 : spans.length, isSame ? 1 : 0, {
        fromNs: isSame ? last.fromNs : sinceNs,
        toNs: atNs,
        who,
      });
    }
    const now = (silent.get(agent) ?? 0) + by;
    if (now > 0) silent.set(agent, now);
    else silent.delete(agent);
    sinceNs = atNs;
  }
  return spans;
}

/** A silence in the parts that moments have of it; what lies between two moments goes to the earlier one. */
function sliced(silence: Episode, moments: readonly Span[]): Episode[] {
  let toldPackets = 0;
  return moments.map((_, i) => {
    const fromNs = i === 0 ? silence.fromNs : Math.max(silence.fromNs, moments[i]?.fromNs ?? 0);
    const toNs = Math.min(silence.toNs, moments[i + 1]?.fromNs ?? silence.toNs);
    const share = lastsNs(silence) === 0 ? 1 : (toNs - silence.fromNs) / lastsNs(silence);
    const until = i === moments.length - 1 ? silence.count : Math.round(share * silence.count);
    const count = until - toldPackets;
    toldPackets = until;
    return { ...silence, fromNs, toNs, count };
  });
}
