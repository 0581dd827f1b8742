import { layer2Domain, querierOf } from "@dyetrace/site";
import { type AddressFamily, familyOf } from "../run/address-family.ts";
import { clockErrors } from "../run/host-clocks.ts";
import { once } from "../run/once.ts";
import type { ListenerObservation, RunObservations } from "../run/run-observations.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { nodesDownTo, type SourceTree, sourceTree } from "../site/source-tree.ts";
import { hostsElsewhere } from "./other-vlan.ts";
import { timersOf } from "./querier-timing.ts";

/** What became of one leave on the network, as far as its host heard. */
export interface LeaveSigns {
  /** The host said on the wire that it leaves; null where nobody watched. */
  readonly isSaid: boolean | null;
  /** A query about the group came after it: somebody heard the leave. Null where nobody could tell. */
  readonly isAsked: boolean | null;
  /**
   * Between the host and the querier, the querier included: segments in both directions and nodes, the host's side first.
   * Empty where none is known, as for a host that seems to sit in another VLAN than the plan's.
   */
  readonly way: readonly string[];
}

/** By how much the kernel's stamps and the clocks of one host may differ, beside its clock's own error. Common practice, no source. */
const NEAR_MS = 1_000;

/**
 * A leave has to reach the querier, which asks whether anybody else is a member, and only then do ports close (RFC 3376,
 * section 6.4.2; RFC 4541, section 2.1.1). What lies on the way of a leave that took effect in time has carried both.
 */
export class LeaveWitness {
  readonly #site: SiteIndex;
  readonly #run: RunObservations;
  readonly #canHear: ReadonlySet<string>;
  readonly #clockErrorMs: (host: string) => number;
  readonly #proven = new Map<AddressFamily, ReadonlySet<string>>();
  readonly #trees = new Map<number, SourceTree>();
  readonly #elsewhere: () => ReadonlySet<string>;

  constructor(site: SiteIndex, run: RunObservations) {
    this.#site = site;
    this.#run = run;
    this.#canHear = new Set(run.queriers.flatMap(({ host, canHear }) => (canHear ? [host] : [])));
    this.#clockErrorMs = clockErrors(run);
    this.#elsewhere = once(() => hostsElsewhere(site, run));
  }

  /** @param leftMs when the host left @param seenToMs when the last frame after that came */
  signsOf(host: string, group: string, leftMs: number, seenToMs: number): LeaveSigns {
    const slackMs = NEAR_MS + this.#clockErrorMs(host);
    const { membership, groupQueries } = this.#run;
    const canHear = this.#canHear.has(host);
    const said = membership.some(
      (one) =>
        one.kind === "leave" && one.host === host && one.group === group && Math.abs(one.atMs - leftMs) <= slackMs,
    );
    const asked = (groupQueries ?? []).some(
      (one) => one.host === host && one.group === group && one.atMs >= leftMs - slackMs && one.atMs <= seenToMs,
    );
    const proven = this.#provenIn(familyOf(group));
    return {
      isSaid: said ? true : canHear ? false : null,
      isAsked: asked ? true : canHear && groupQueries !== undefined ? false : null,
      way: this.#wayOf(host).filter((place) => !proven.has(place)),
    };
  }

  /** Places on the ways of leaves that took effect in time. */
  #provenIn(family: AddressFamily): ReadonlySet<string> {
    const known = this.#proven.get(family);
    if (known !== undefined) return known;
    const hosts = this.#run.listeners.filter((one) => this.#tookEffect(one, family)).map(({ host }) => host);
    const proven = new Set([...new Set(hosts)].flatMap((host) => this.#wayOf(host)));
    this.#proven.set(family, proven);
    return proven;
  }

  /** The host watched, the stream went on, and nothing of it came any more once a leave takes effect. */
  #tookEffect({ host, stream: name, joinedToMs }: ListenerObservation, family: AddressFamily): boolean {
    if (joinedToMs === null || !this.#canHear.has(host)) return false;
    const stream = this.#run.streams.find((one) => one.stream === name);
    if (stream === undefined || familyOf(stream.group) !== family) return false;
    const effectMs = joinedToMs + timersOf(this.#run, family).lastMemberMs + NEAR_MS;
    const isAgain = this.#run.listeners.some(
      (one) => one.host === host && one.stream === name && one.joinedFromMs > joinedToMs,
    );
    const seen = this.#run.bystanders.filter((one) => one.host === host && one.stream === name);
    return (
      !isAgain && (stream.lastSentMs ?? 0) > effectMs + NEAR_MS && seen.every(({ lastMs }) => (lastMs ?? 0) <= effectMs)
    );
  }

  #wayOf(host: string): string[] {
    const site = this.#site;
    const node = site.nodeNumber.get(host);
    const querier = querierOf(site.graph, site.graph.vlans === undefined ? (this.#run.streams[0]?.source ?? "") : host);
    const from = site.nodeNumber.get(querier?.node ?? "");
    if (node === undefined || from === undefined || querier === null || this.#elsewhere().has(host)) return [];
    if (!layer2Domain(site.graph, querier.node).has(host)) return [];
    const tree = this.#trees.get(from) ?? sourceTree(site, from);
    this.#trees.set(from, tree);
    const places = nodesDownTo(tree, node).toReversed();
    return places.flatMap((at) => {
      const into = tree.into[at] ?? -1;
      const above = site.nodes[tree.parent[at] ?? -1];
      return [site.segments[site.reverse[into] ?? -1]?.id, site.segments[into]?.id, above?.name].filter(
        (place) => place !== undefined,
      );
    });
  }
}
