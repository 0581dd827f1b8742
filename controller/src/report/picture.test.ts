import { loadSitePlan } from "@dyetrace/site";
import { XMLParser, XMLValidator } from "fast-xml-parser";
import { expect, test } from "vitest";
import { recorded } from "../../../tests/browser/support/recorded.ts";
import { renderExhibit, renderRunMap } from "./picture.ts";

const { plan, report } = recorded("vlans-stop");
const graph = loadSitePlan(plan, "plan.yaml");
const ADDRESS = "https://controller.example/#/findings/83aa?finding=1";

test("renderExhibit: given a finding, then it is one well-formed picture with its sentence, its ports and its address, that asks for no other file", () => {
  const picture = renderExhibit(graph, report, 0, ADDRESS) ?? "";
  expect(XMLValidator.validate(picture)).toBe(true); // against fast-xml-parser
  const root = new XMLParser({ ignoreAttributes: false }).parse(picture) as { svg: { "@_xmlns": string } };
  expect(root.svg["@_xmlns"]).toBe("http://www.w3.org/2000/svg"); // SVG 2, section 5.1
  const words = picture
    .replaceAll(/<style>.*?<\/style>/gs, "")
    .replaceAll(/<[^>]+>/g, " ")
    .replaceAll(/\s+/g, " ");
  for (const told of ["core:1", "pier-east:24", "a link of 1 Gbit/s, in VLAN 20", "9 listeners elsewhere", "STOPS"]) {
    expect(words).toContain(told);
  }
  expect(words).toContain("0 of 1140");
  expect(words).toContain(ADDRESS);
  expect(picture).not.toMatch(/href=|@import|url\((?!#)|<script/);
  // A screen that is dark must not make the picture dark: it goes onto paper.
  expect(picture).not.toContain("prefers-color-scheme");
});

test("renderExhibit: given the number of no finding, then there is no picture", () => {
  expect(renderExhibit(graph, report, 7, ADDRESS)).toBeNull();
});

test("renderRunMap: given the same run, then the report's map has the console's bar in the lane that it names", () => {
  const map = renderRunMap(graph, report).text;
  expect(map.match(/class="bar"/g)?.length).toBeGreaterThan(0);
  expect(map).toMatch(/data-channel="pier-east vlan 20" data-water="dry" data-mark="stop"/);
  expect(map).toContain("VLAN 20");
});
