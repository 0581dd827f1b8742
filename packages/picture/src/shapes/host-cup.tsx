import { shapeAt } from "../layout/geometry.ts";
import type { HostWater } from "../water/host-water.ts";
import { cupParts } from "./cup-parts.ts";

/** Beside a cup that stands for several hosts: the rim of another one behind it. */
export const SEVERAL = "m-13 -5v12a9 9 0 0 0 9 8";

interface PlacedCup {
  readonly host: HostWater | null;
  readonly x: number;
  readonly y: number;
}

/** A listener: how full the cup is says how much arrived, on the scale at its side; a lid, that it did not ask for any. */
export function HostCup(props: PlacedCup) {
  return (
    <>
      {cupParts(props.host).map(({ look, steps }, index) => (
        <path key={`${index} ${look}`} class={look} d={shapeAt(props, steps)} />
      ))}
    </>
  );
}

/**
 * Many cups, each piece of one look a single shape: a thousand cups as shapes of their own take a browser longer than a
 * frame. They look the same, because no cup lies upon another.
 */
export function ManyCups({ cups }: { readonly cups: readonly PlacedCup[] }) {
  const shapes: { readonly look: string; readonly paths: string[] }[] = [];
  for (const cup of cups) {
    let from = 0;
    for (const { look, steps } of cupParts(cup.host)) {
      // The next shape of that look which is not behind what this cup has drawn already.
      let at = shapes.findIndex((shape, index) => index >= from && shape.look === look);
      if (at === -1) at = shapes.push({ look, paths: [] }) - 1;
      shapes[at]?.paths.push(shapeAt(cup, steps));
      from = at + 1;
    }
  }
  return (
    <g class="node cups">
      {shapes.map(({ look, paths }, index) => (
        <path key={`${index} ${look}`} class={look} d={paths.join("")} />
      ))}
    </g>
  );
}
