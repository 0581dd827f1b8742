import type { Shape } from "@dyetrace/measure";
import { Markup, markup } from "../markup.ts";

/** A picture's shapes as SVG text; what they say is escaped. */
export const svgOf = (shapes: readonly Shape[]): Markup => markup`${shapes.map(elementOf)}`;

function elementOf({ tag, attributes, title, text, children = [] }: Shape): Markup {
  const name = new Markup(tag);
  const given = Object.entries(attributes).map(([key, value]) => markup` ${new Markup(key)}="${value}"`);
  const inside = [title === undefined ? null : markup`<title>${title}</title>`, text, svgOf(children)];
  return markup`<${name}${given}>${inside}</${name}>`;
}
