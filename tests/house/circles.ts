/**
 * Circles among things that need each other: the strongly connected parts of more than one member (Tarjan, 1972).
 * @param needs for each thing, what it needs; what is no key needs nothing
 * @returns one list for each circle, members sorted
 */
export function findCircles(needs: ReadonlyMap<string, readonly string[]>): string[][] {
  const order = new Map<string, number>();
  const earliest = new Map<string, number>();
  const open: string[] = [];
  const circles: string[][] = [];

  const visit = (at: string): number => {
    const mine = order.size;
    order.set(at, mine);
    earliest.set(at, mine);
    open.push(at);
    for (const next of needs.get(at) ?? []) {
      const reached = order.has(next) ? (open.includes(next) ? (order.get(next) ?? mine) : mine) : visit(next);
      earliest.set(at, Math.min(earliest.get(at) ?? mine, reached));
    }
    if (earliest.get(at) === mine) {
      const circle = open.splice(open.indexOf(at));
      if (circle.length > 1) circles.push(circle.sort());
    }
    return earliest.get(at) ?? mine;
  };

  for (const at of needs.keys()) if (!order.has(at)) visit(at);
  return circles;
}
