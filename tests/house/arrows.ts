import { findCircles } from "./circles.ts";
import type { SourceFile } from "./source-files.ts";

/** What a package's folders import of each other, and what the package imports of other packages. */
export interface PackageArrows {
  readonly packages: readonly string[];
  /** By folder, in the order of the list: each imports only those below it. `src` is the package's own root. */
  readonly folders: ReadonlyMap<string, readonly string[]>;
}

export type House = ReadonlyMap<string, PackageArrows>;

/** Names that end a package's inside: what it shows to others, or where its program starts. They see every folder. */
const DOOR = /^(index|main)\.tsx?$/;

/**
 * Reads the list of DEVELOPERS.md. A line at the margin is a package, an indented one a folder of it; behind the arrow
 * stands what it imports.
 * @throws {Error} for a line of another form
 */
export function parseHouse(text: string): House {
  const house = new Map<string, { packages: string[]; folders: Map<string, string[]> }>();
  let current: { packages: string[]; folders: Map<string, string[]> } | undefined;
  for (const line of text.split("\n").filter((one) => one.trim() !== "")) {
    const [, indent = "", name = "", , targets = ""] = /^( *)([\w/-]+)( +-> +([\w/ -]+))? *$/.exec(line) ?? [];
    if (name === "") throw new Error(`DEVELOPERS.md: "${line}" is no line of the form "folder -> folder folder"`);
    const list = targets.split(" ").filter((one) => one !== "");
    if (indent === "") {
      current = { packages: list, folders: new Map() };
      house.set(name, current);
    } else if (current === undefined) throw new Error(`DEVELOPERS.md: "${line}" stands below no package`);
    else current.folders.set(name, list);
  }
  return house;
}

/** @returns the same from the files themselves; folders in the order of their names */
export function drawHouse(files: readonly SourceFile[]): House {
  const house = new Map<string, { packages: Set<string>; folders: Map<string, Set<string>> }>();
  for (const file of files) {
    const { pack, folder } = placeOf(file.path);
    const drawn = house.get(pack) ?? { packages: new Set(), folders: new Map() };
    house.set(pack, drawn);
    for (const name of file.ofPackages) drawn.packages.add(name.split("/")[0] ?? name);
    if (folder === null) continue;
    const arrows = drawn.folders.get(folder) ?? new Set();
    drawn.folders.set(folder, arrows);
    for (const target of file.imports) {
      const other = placeOf(target);
      // A door that is imported from inside its package would close a circle through every folder.
      if (other.folder !== folder) arrows.add(other.folder ?? `${target.slice(target.lastIndexOf("/") + 1)}`);
    }
  }
  return new Map(
    [...house].map(([pack, { packages, folders }]) => [
      pack,
      { packages: [...packages], folders: new Map([...folders].map(([folder, to]) => [folder, [...to]])) },
    ]),
  );
}

/** @returns its package, and its folder inside `src`; null for a door */
function placeOf(path: string): { readonly pack: string; readonly folder: string | null } {
  const [, pack = "", inside = ""] = /^(?:packages\/)?([^/]+)\/src\/(.*)$/.exec(path) ?? [];
  const cut = inside.lastIndexOf("/");
  if (cut >= 0) return { pack, folder: inside.slice(0, cut) };
  return { pack, folder: DOOR.test(inside) ? null : "src" };
}

/** @returns a sentence for each place where list and files differ, and for each arrow that does not point down */
export function compareHouses(listed: House, drawn: House): string[] {
  const wrong: string[] = [];
  for (const pack of new Set([...listed.keys(), ...drawn.keys()])) {
    const [said, real] = [listed.get(pack), drawn.get(pack)];
    if (said === undefined) wrong.push(`${pack} is a package, and DEVELOPERS.md does not list it`);
    else if (real === undefined) wrong.push(`DEVELOPERS.md lists ${pack}, and there is no such package`);
    else wrong.push(...compareFolders(pack, said.folders, real.folders));
  }
  const packagesOf = (house: House) => new Map([...house].map(([pack, { packages }]) => [pack, packages]));
  wrong.push(...compareArrows("", packagesOf(listed), packagesOf(drawn)));
  return wrong;
}

type Arrows = ReadonlyMap<string, readonly string[]>;

function compareFolders(pack: string, said: Arrows, real: Arrows): string[] {
  return [
    ...[...real.keys()].filter((one) => !said.has(one)).map((one) => `${pack}: DEVELOPERS.md lacks the folder ${one}`),
    ...[...said.keys()]
      .filter((one) => !real.has(one))
      .map((one) => `${pack}: there is no folder ${one}, as DEVELOPERS.md says`),
    ...compareArrows(`${pack}: `, said, real),
  ];
}

function compareArrows(where: string, said: Arrows, real: Arrows): string[] {
  const order = [...said.keys()];
  const wrong: string[] = [];
  for (const [from, targets] of real) {
    for (const to of targets) {
      if (said.has(from) && !said.get(from)?.includes(to)) {
        wrong.push(`${where}${from} imports ${to}, and DEVELOPERS.md does not list that arrow`);
      }
    }
  }
  for (const [from, targets] of said) {
    for (const to of targets) {
      if (real.has(from) && !real.get(from)?.includes(to)) {
        wrong.push(`${where}DEVELOPERS.md says that ${from} imports ${to}, and no file of it does`);
      }
      if (order.indexOf(to) <= order.indexOf(from)) {
        wrong.push(`${where}DEVELOPERS.md says that ${from} imports ${to}, which does not stand below it`);
      }
    }
  }
  for (const circle of findCircles(real)) wrong.push(`${where}${circle.join(", ")} import each other in a circle`);
  return wrong;
}
