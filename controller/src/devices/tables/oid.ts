/** Arcs of an object identifier; at most 128 of 32 bits each (RFC 2578, section 3.5). */
export type Oid = readonly number[];

const MOST_ARCS = 128;

/** @returns null where the text is none */
export function parseOid(text: string): Oid | null {
  if (text.length > 1500) return null;
  const arcs = text.split(".").map((part) => (/^\d{1,10}$/.test(part) ? Number(part) : Number.NaN));
  return arcs.length <= MOST_ARCS && arcs.every((arc) => arc <= 0xffff_ffff) ? arcs : null;
}

/** @returns what stands behind `root`, or null where it is not below it */
export function below(root: Oid, oid: Oid): Oid | null {
  return oid.length > root.length && root.every((arc, index) => oid[index] === arc) ? oid.slice(root.length) : null;
}

/** In the order in which a device hands out its tables (RFC 3416, section 4.2.2). */
export function isAfter(later: Oid, earlier: Oid): boolean {
  for (const [index, arc] of later.entries()) {
    const other = earlier[index];
    if (other === undefined) return true;
    if (arc !== other) return arc > other;
  }
  return false;
}
