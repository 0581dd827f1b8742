import { pathOf, shapeAt } from "../layout/geometry.ts";
import type { HostWater } from "../water/host-water.ts";
import { LOSS_CLASS_WORDS, type LossClass } from "../water/loss-shape.ts";
import { BrokenDye, ChannelMark, DammedDye, SeepingBeads, ThinningDye } from "./channel-marks.tsx";
import { HostCup, SEVERAL } from "./host-cup.tsx";

const LINE = [
  [2, 12],
  [50, 12],
] as const;
const SHORT = [
  [-8, 12],
  [58, 12],
] as const;

const START = [SHORT[0]];

const CUP_AT = { x: 26, y: 14 };

const thinned = (lossClass: LossClass): HostWater => ({
  kind: "thins",
  lossRatio: null,
  lossClass,
  isInterrupted: false,
  isHostsOwn: false,
});

/** A cup's steps are tenfold: a share of the packets would show no loss below a tenth. */
const CUPS: readonly (readonly [HostWater, string])[] = [
  [{ kind: "whole" }, "everything"],
  ...([1, 2, 3, 4] as const).map((lossClass) => [thinned(lossClass), `${LOSS_CLASS_WORDS[lossClass]} lost`] as const),
  [{ kind: "thins", lossRatio: null, lossClass: 3, isInterrupted: true, isHostsOwn: false }, "all but outages"],
  [{ kind: "dry" }, "nothing"],
  [{ kind: "blocked" }, "to the network card only"],
  [{ kind: "some" }, "some, not all is known"],
  [{ kind: "unknown" }, "unknown, or not reported"],
  [{ kind: "apart" }, "not joined"],
  [{ kind: "uninvited", isByDesign: false }, "not joined, frames came"],
  [{ kind: "uninvited", isByDesign: true }, "the same, by the site's build"],
];

/** How to read the map. */
export function MapKey() {
  return (
    <section class="key" aria-labelledby="key-head">
      <h2 id="key-head" class="small">
        How to read it
      </h2>
      <ul>
        <Entry says="flows">
          <Trough />
          <path class="dye" d={pathOf(LINE)} stroke-width={7} />
        </Entry>
        <Entry says="stops here">
          <Trough kind="dry" />
          <DammedDye approach={START} inlet={SHORT} width={7} />
          <ChannelMark line={SHORT} width={7} glyph="stop" />
        </Entry>
        <Entry says="dry below">
          <Trough kind="dry" />
        </Entry>
        <Entry says="loses some">
          <Trough />
          <ThinningDye approach={START} inlet={SHORT} width={7} />
          <ChannelMark line={SHORT} width={5} glyph="thin" />
        </Entry>
        <Entry says="has outages">
          <Trough />
          <BrokenDye approach={START} inlet={SHORT} width={7} />
        </Entry>
        <Entry says="leaks">
          <Trough />
          <SeepingBeads line={LINE} from={0} />
        </Entry>
        <Entry says="a fault beside the stream">
          <Trough />
          <path class="dye" d={pathOf(LINE)} stroke-width={5} />
          <ChannelMark line={SHORT} width={1} glyph="fault" />
        </Entry>
        <Entry says="noted, no trouble">
          <Trough />
          <path class="dye" d={pathOf(LINE)} stroke-width={7} />
          <ChannelMark line={SHORT} width={3} glyph="fact" />
        </Entry>
        <Entry says="this run can't tell">
          <Trough />
          <path class="dye" d={pathOf(LINE)} stroke-width={5} />
          <ChannelMark line={SHORT} width={4} glyph="doubt" />
        </Entry>
        <Entry says="under suspicion">
          <rect class="suspect-node" x="0" y="0" width="52" height="24" />
        </Entry>
        <Entry says="unknown">
          <Trough kind="unknown" />
        </Entry>
      </ul>
      <h3 class="small">What a listener got</h3>
      <ul>
        {CUPS.map(([host, says]) => (
          <Entry key={says} says={says}>
            <g class="node">
              <HostCup host={host} {...CUP_AT} />
            </g>
          </Entry>
        ))}
        <Entry says="several hosts that got the same">
          <g class="node">
            <path class="several" d={shapeAt(CUP_AT, SEVERAL)} />
            <HostCup host={{ kind: "whole" }} {...CUP_AT} />
          </g>
        </Entry>
      </ul>
    </section>
  );
}

function Trough({ kind = "" }: { readonly kind?: string }) {
  return (
    <>
      <path class={`bank ${kind}`} d={pathOf(LINE)} stroke-width={12} />
      <path class={`bed ${kind}`} d={pathOf(LINE)} stroke-width={9} />
    </>
  );
}

function Entry({ says, children }: { readonly says: string; readonly children: preact.ComponentChildren }) {
  return (
    <li>
      <svg viewBox="0 0 52 24" aria-hidden="true">
        {children}
      </svg>
      {says}
    </li>
  );
}
