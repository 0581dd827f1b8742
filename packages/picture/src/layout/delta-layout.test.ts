import { buildSiteGraph, type SiteLink, type SiteNode } from "@dyetrace/site";
import fc from "fast-check";
import { expect, test } from "vitest";
import { layOutDelta } from "./delta-layout.ts";
import type { DeltaLayout } from "./delta-place.ts";
import { hangUp, type SiteTree } from "./site-tree.ts";

/** A tree of nodes `n0` (the root) to `nN`: `parents[i]` is the parent of `n(i+1)`, among those before it. */
function treeOf(parents: readonly number[]): SiteTree {
  const nodes: SiteNode[] = [{ name: "n0", kind: "switch", isQuerier: false, agent: null }];
  const links: SiteLink[] = parents.map((parent, index) => {
    nodes.push({ name: `n${index + 1}`, kind: "switch", isQuerier: false, agent: null });
    return {
      index,
      a: { node: `n${parent % (index + 1)}`, port: `p${index}` },
      b: { node: `n${index + 1}`, port: "up" },
      speedBps: null,
    };
  });
  const tree = hangUp(buildSiteGraph("site", nodes, links), "n0");
  if (tree === null) throw new Error("the root is missing");
  return tree;
}

const lay = (tree: SiteTree, width: number, folded: readonly string[] = []): DeltaLayout =>
  layOutDelta(tree, { width, height: 700, folded: new Set(folded), measure: (name) => name.length * 8 });

const anyTree = fc.array(fc.nat(), { minLength: 1, maxLength: 60 }).map(treeOf);
const anyWidth = fc.constantFrom(360, 700, 1000, 1440);

test("layOutDelta: given any tree and width, then every node has a place inside the picture", () => {
  fc.assert(
    fc.property(anyTree, anyWidth, (tree, width) => {
      const layout = lay(tree, width);
      expect(layout.places.size).toBe(tree.byName.size);
      for (const { x, y } of layout.places.values()) {
        expect(x).toBeGreaterThanOrEqual(0);
        expect(x).toBeLessThanOrEqual(layout.width);
        expect(y).toBeGreaterThanOrEqual(0);
        expect(y).toBeLessThanOrEqual(layout.height);
      }
    }),
  );
});

test("layOutDelta: given any tree and width, then no two nodes lie on one another", () => {
  fc.assert(
    fc.property(anyTree, anyWidth, (tree, width) => {
      const places = [...lay(tree, width).places.values()];
      for (const [index, one] of places.entries()) {
        for (const other of places.slice(index + 1)) {
          const apart = Math.max(Math.abs(one.x - other.x), Math.abs(one.y - other.y));
          expect(apart, `${one.name} and ${other.name}`).toBeGreaterThan(20);
        }
      }
    }),
  );
});

test("layOutDelta: given any tree and width, then each way in begins at the parent and ends at the node", () => {
  fc.assert(
    fc.property(anyTree, anyWidth, (tree, width) => {
      const layout = lay(tree, width);
      for (const place of layout.places.values()) {
        const parent = tree.byName.get(place.name)?.parent ?? null;
        if (parent === null) {
          expect(place.inlet).toEqual([]);
          continue;
        }
        const above = layout.places.get(parent);
        const near = (point: readonly [number, number] | undefined, x: number, y: number): void => {
          expect(point?.[0]).toBeCloseTo(x, 6);
          expect(point?.[1]).toBeCloseTo(y, 6);
        };
        near(place.approach[0], above?.x ?? Number.NaN, above?.y ?? Number.NaN);
        near(place.inlet.at(-1), place.x, place.y);
        const [joint] = place.inlet;
        near(place.approach.at(-1), joint?.[0] ?? Number.NaN, joint?.[1] ?? Number.NaN);
      }
    }),
  );
});

test("layOutDelta: given any tree, then water never runs uphill", () => {
  fc.assert(
    fc.property(anyTree, anyWidth, (tree, width) => {
      for (const { approach, inlet } of lay(tree, width).places.values()) {
        const way = [...approach, ...inlet];
        for (const [index, [, y]] of way.entries()) expect(y).toBeGreaterThanOrEqual((way[index - 1]?.[1] ?? y) - 1e-6);
      }
    }),
  );
});

test("layOutDelta: given a node that is folded up, then what is below it has no place and is counted at it", () => {
  const tree = treeOf([0, 1, 1, 0]); // n1 holds n2 and n3; n4 hangs beside it
  const layout = lay(tree, 1000, ["n1"]);
  expect([...layout.places.keys()].sort()).toEqual(["n0", "n1", "n4"]);
  expect(layout.places.get("n1")?.foldedNodes).toBe(2);
});

test("layOutDelta: given a narrow screen, then every name stands on the right of its node", () => {
  fc.assert(
    fc.property(anyTree, (tree) => {
      for (const { label } of lay(tree, 360).places.values()) expect(label).toBe("right");
    }),
  );
});
