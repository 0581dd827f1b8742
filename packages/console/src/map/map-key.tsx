import { ChannelMark, DammedDye, ThinningDye } from "./channel-marks.tsx";
import { pathOf } from "./layout/geometry.ts";

const LINE = [
  [2, 12],
  [50, 12],
] as const;
const SHORT = [
  [-8, 12],
  [58, 12],
] as const;

const START = [SHORT[0]];

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
        <Entry says="thins out">
          <Trough />
          <ThinningDye approach={START} inlet={SHORT} width={7} />
          <ChannelMark line={SHORT} width={5} glyph="thin" />
        </Entry>
        <Entry says="leaks">
          <Trough />
          <path class="dye seeps" d={pathOf(LINE)} stroke-width={7} />
        </Entry>
        <Entry says="a fault beside the stream">
          <Trough />
          <path class="dye" d={pathOf(LINE)} stroke-width={5} />
          <ChannelMark line={SHORT} width={1} glyph="fault" />
        </Entry>
        <Entry says="told, no trouble">
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
