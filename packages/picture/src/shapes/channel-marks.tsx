import type { FindingGlyph } from "@dyetrace/wire";
import type { Polyline } from "../layout/delta-place.ts";
import { cut, lengthOf, pathOf, spotAt } from "../layout/geometry.ts";

/** Where along a channel its mark stands: near the upper end, with room for a pool in front of it. */
export const markDistance = (line: Polyline): number => Math.min(lengthOf(line) * 0.45, 30);

/** The mark of a finding across or beside a channel. */
export function ChannelMark(props: { readonly line: Polyline; readonly width: number; readonly glyph: FindingGlyph }) {
  const { line, width, glyph } = props;
  const spot = spotAt(line, markDistance(line));
  const turn = `translate(${spot.x} ${spot.y}) rotate(${(Math.atan2(spot.dy, spot.dx) * 180) / Math.PI})`;
  switch (glyph) {
    case "stop": {
      const half = width / 2 + 9;
      const back = -Math.min(22, markDistance(line) - 2);
      return (
        <g transform={turn}>
          <path
            class="pool"
            d={`M${back} ${-width / 2}C${back * 0.7} ${-half} ${back * 0.4} ${-half + 1} -2 ${-half + 1}V${half - 1}C${back * 0.4} ${half - 1} ${back * 0.7} ${half} ${back} ${width / 2}Z`}
          />
          <rect class="bar" x={-2} y={-half - 3} width={6} height={2 * half + 6} rx={1} />
        </g>
      );
    }
    case "thin": {
      const off = width / 2 + 6;
      return (
        <g transform={turn}>
          {[-14, -4, 7, 17].map((x, index) => (
            <circle
              key={x}
              class="drop"
              cx={x}
              cy={(index % 2 === 0 ? -1 : 1) * (off + (index % 3) * 3)}
              r={3.4 - index * 0.4}
            />
          ))}
        </g>
      );
    }
    case "seep": {
      const off = width / 2;
      return (
        <g transform={turn}>
          {[-12, -2, 9].map((x, index) => (
            <path
              key={x}
              class="drop seeps"
              transform={`translate(${x} ${off + 2 + index * 2})`}
              d="M0 -3c3 5 4.5 6.5 4.5 9.500a4.5 4.5 0 0 1 -9 0c0 -3 1.5 -4.5 4.5 -9.500z"
            />
          ))}
          <path class="bar" d={`M-18 ${-off - 3}h36v2.500h-36z`} />
        </g>
      );
    }
    case "fault": {
      const off = width / 2 + 6;
      return (
        <g transform={turn}>
          {[-off, off].map((y) => (
            <path key={y} class="bar" d={`M0 ${y - 5}l5 5l-5 5l-5 -5z`} />
          ))}
        </g>
      );
    }
    case "fact":
      return (
        <g transform={turn}>
          <circle class="fact-line" cy={-(width / 2 + 6)} r={3.5} />
        </g>
      );
    case "doubt":
      return (
        <g transform={turn}>
          <circle class="halo-line" r={width / 2 + 8} />
        </g>
      );
  }
}

interface DyeProps {
  readonly approach: Polyline;
  readonly inlet: Polyline;
  readonly width: number;
}

/** The dye of a channel that loses some: full above the mark, a thread below it. */
export function ThinningDye({ approach, inlet, width }: DyeProps) {
  const at = markDistance(inlet);
  return (
    <>
      <path class="dye" d={pathOf([...approach, ...cut(inlet, at).slice(1)])} stroke-width={width} />
      <path class="dye" d={pathOf(cut(inlet, at, true))} stroke-width={Math.max(2, width * 0.35)} />
    </>
  );
}

/** The dye of a channel whose stream has outages: at full width, and broken below the mark. */
export function BrokenDye({ approach, inlet, width }: DyeProps) {
  const at = markDistance(inlet);
  return (
    <>
      <path class="dye" d={pathOf([...approach, ...cut(inlet, at).slice(1)])} stroke-width={width} />
      <path class="dye breaks" d={pathOf(cut(inlet, at, true))} stroke-width={width} />
    </>
  );
}

/** Beads of what seeps: beside the channel that they come out of, and nowhere else. */
export function SeepingBeads({ line, from }: { readonly line: Polyline; readonly from: number }) {
  return <path class="dye seeps" d={pathOf(cut(line, from, true))} />;
}

/** The dye in front of a bar. */
export function DammedDye({ approach, inlet, width }: DyeProps) {
  return (
    <path class="dye" d={pathOf([...approach, ...cut(inlet, markDistance(inlet)).slice(1)])} stroke-width={width} />
  );
}
