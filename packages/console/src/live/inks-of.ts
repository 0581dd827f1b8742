import type { GridInks } from "./strip-brush.ts";

/** Colours and faces of the page, for a canvas in it. */
export function inksOf(element: HTMLElement): GridInks {
  const style = getComputedStyle(element);
  const read = (name: string): string => style.getPropertyValue(name).trim();
  return {
    ink: read("--ink"),
    soft: read("--ink-faint"),
    rule: read("--rule"),
    bed: read("--bed"),
    dye: read("--dye"),
    iron: read("--iron"),
    ground: read("--sheet"),
    quiet: read("--ink-soft"),
    timeFont: `400 11.5px ${read("--place")}`,
    placeFont: `500 13px ${read("--place")}`,
    waterFont: `italic 15px ${read("--water")}`,
  };
}
