import { readFileSync } from "node:fs";
import { fileURLToPath } from "node:url";
import { drawExhibit, drawRunMap, type RenderToString } from "@dyetrace/picture/html/draw-html";
import { type SiteGraph, unfoldVlans } from "@dyetrace/site";
import type { RunReport } from "@dyetrace/wire";
import { Markup } from "./markup.ts";
import { dateAndTime } from "./time-of-day.ts";

// Named by a value: its types would bring those of a browser, which contradict Node's.
const LIBRARY: string = "preact-render-to-string";
const { renderToString } = (await import(LIBRARY)) as { readonly renderToString: RenderToString };

const read = (name: string): string =>
  readFileSync(fileURLToPath(import.meta.resolve(`@dyetrace/picture/style/${name}.css`)), "utf8");

/** Styles as the console has them, valid inside one element, so that they meet no others on the page. */
const within = (element: string, names: readonly string[]): string =>
  `${element} {\n${names.map(read).join("\n").replaceAll(":root", "&")}}\n`;

/** Of the map in a report. */
export const MAP_STYLE: string = within(".run-map", ["inks", "inks-night", "map-water", "map-lanes", "map-key"]);

/** Of an exhibit: by day alone, whatever the reader's screen is, for it goes into tickets and onto paper. */
const EXHIBIT_STYLE: string = within(".exhibit", ["inks", "exhibit", "map-water", "map-lanes"]);

/** The site as the console's map shows it, with its key. */
export const renderRunMap = (graph: SiteGraph, report: RunReport): Markup =>
  new Markup(`<div class="run-map">${drawRunMap(unfoldVlans(graph), report, renderToString)}</div>`);

/**
 * One finding as one picture.
 * @param index its position in the report's list  @param address where it stands in the console
 * @returns SVG that needs no other file; null where there is no such finding
 */
export const renderExhibit = (graph: SiteGraph, report: RunReport, index: number, address: string): string | null =>
  drawExhibit(
    {
      graph: unfoldVlans(graph),
      report,
      index,
      when: dateAndTime(report.startedAt),
      address,
      style: EXHIBIT_STYLE,
    },
    renderToString,
  );
