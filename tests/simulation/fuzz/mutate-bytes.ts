import { drawInteger, drawOne, type Random } from "../seeded-random.ts";

/** Values at the ends of what fields of one, two and four bytes hold. */
const EDGES = [0, 1, 0x7f, 0x80, 0xff];

/** Changes one to four places of some bytes: other values, the end cut off, something put in, left out or repeated. */
export function mutateBytes(bytes: Uint8Array, random: Random): Uint8Array {
  let mutated: number[] = [...bytes];
  for (let left = drawInteger(random, 1, 4); left > 0; left--) {
    const at = drawInteger(random, 0, Math.max(0, mutated.length - 1));
    const length = drawInteger(random, 1, 8);
    switch (drawInteger(random, 0, 5)) {
      case 0:
        mutated[at] = drawOne(random, EDGES);
        break;
      case 1:
        mutated[at] = (mutated[at] ?? 0) ^ (1 << drawInteger(random, 0, 7));
        break;
      case 2:
        mutated = mutated.slice(0, at);
        break;
      case 3:
        mutated.splice(at, length);
        break;
      case 4:
        mutated.splice(at, 0, ...Array.from({ length }, () => drawInteger(random, 0, 255)));
        break;
      default:
        mutated.splice(
          at,
          0,
          ...Array.from({ length: drawOne(random, [1, 2, 30]) }, () => mutated.slice(at, at + length)).flat(),
        );
    }
  }
  return Uint8Array.from(mutated.slice(0, 9000)); // no frame is larger
}
