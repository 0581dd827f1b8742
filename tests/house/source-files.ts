import { existsSync, readdirSync, readFileSync } from "node:fs";
import path from "node:path";
import { fileURLToPath } from "node:url";

/** Path from the repository's root to a file, with forward slashes. */
export type FilePath = string;

export interface SourceFile {
  readonly path: FilePath;
  readonly lines: number;
  /** Source files of the same package that it names: imports of values and of types, and workers that it starts. */
  readonly imports: readonly FilePath[];
  /** What it imports of other packages of this workspace: `wire`, `wire/units`. */
  readonly ofPackages: readonly string[];
  /** What it imports of Node.js, types left out: `node:fs`. */
  readonly ofNode: readonly string[];
}

const ROOT = fileURLToPath(new URL("../..", import.meta.url));
// Every quoted relative path that leads to a source file counts, whatever stands around it: an import over several
// lines, one of a type, one at run time, a worker's program. So no form of import can be forgotten here.
const RELATIVE = /["'](\.{1,2}\/[^"'\n]+)["']/g;
const OF_NODE = /^import (?!type )[^;]*?["'](node:[^"'\n]+)["']/gm;
const OF_WORKSPACE = /["']@dyetrace\/([^"'\n]+)["']/g;

/** @returns all source files of packages, agent and controller; tests are none */
export function readSourceFiles(): SourceFile[] {
  const paths = packageFolders()
    .filter((folder) => existsSync(path.join(ROOT, folder, "src")))
    .flatMap((folder) =>
      readdirSync(path.join(ROOT, folder, "src"), { recursive: true, encoding: "utf8" }).map(
        (inside) => `${folder}/src/${inside.split(path.sep).join("/")}`,
      ),
    )
    .filter((found) => /\.(ts|tsx|css)$/.test(found) && !/\.test\.tsx?$/.test(found))
    .sort();
  const known = new Set(paths);
  return paths.map((at) => readImports(at, readFileSync(path.join(ROOT, at), "utf8"), known));
}

/** @returns `agent`, `controller`, `packages/wire` and the like */
function packageFolders(): string[] {
  return ["agent", "controller", ...readdirSync(path.join(ROOT, "packages")).map((name) => `packages/${name}`)];
}

/** @param known all source files, so that only what leads to one of them counts */
export function readImports(at: FilePath, text: string, known: ReadonlySet<FilePath>): SourceFile {
  const named = [...text.matchAll(RELATIVE)].flatMap(([, relative = ""]) => {
    const target = path.posix.join(path.posix.dirname(at), relative);
    // A worker is started by the name of what is built of it.
    return (
      [target, target.replace(/\.js$/, ".ts"), target.replace(/\.js$/, ".tsx")].find((one) => known.has(one)) ?? []
    );
  });
  return {
    path: at,
    lines: text.split("\n").length - 1,
    imports: [...new Set(named)],
    ofPackages: [...new Set([...text.matchAll(OF_WORKSPACE)].map(([, name = ""]) => name))],
    ofNode: [...new Set([...text.matchAll(OF_NODE)].map(([, name = ""]) => name))],
  };
}

/** @returns every file and folder that the repository itself has below its top folders */
export function readAllPaths(): FilePath[] {
  const below = (folder: FilePath): FilePath[] =>
    readdirSync(path.join(ROOT, folder), { withFileTypes: true }).flatMap((entry) => {
      if (entry.name === "node_modules" || entry.name === "dist") return [];
      const at = `${folder}/${entry.name}`;
      return entry.isDirectory() ? [at, ...below(at)] : [at];
    });
  return ["agent", "controller", "packages", "tests", "deploy"].flatMap((top) => [top, ...below(top)]);
}

/** @returns paths that DEVELOPERS.md names in its text, whole or from some folder on; \`*\` stands for any name */
export function readNamedPaths(): string[] {
  const text = readFileSync(path.join(ROOT, "DEVELOPERS.md"), "utf8");
  return [...text.matchAll(/`([\w.*-]+(?:\/[\w.*-]+)*(?:\/|\.tsx?|\.mjs)|(?:packages|tests|deploy)\/[\w./-]+)`/g)].map(
    ([, named = ""]) => named.replace(/\/$/, ""),
  );
}

/** @returns the house list of DEVELOPERS.md: the text of its block of arrows */
export function readArrowBlock(): string {
  const text = readFileSync(path.join(ROOT, "DEVELOPERS.md"), "utf8");
  const block = /^```arrows\n(.*?)^```$/ms.exec(text)?.[1];
  if (block === undefined) throw new Error("DEVELOPERS.md has no block that begins with ```arrows");
  return block;
}

/** @returns for each package of this workspace, the others that its package.json declares */
export function readDeclaredPackages(): Map<string, readonly string[]> {
  return new Map(
    packageFolders().map((folder) => {
      const text = readFileSync(path.join(ROOT, folder, "package.json"), "utf8");
      const { dependencies = {} } = JSON.parse(text) as { dependencies?: Record<string, string> };
      const ours = Object.keys(dependencies).flatMap((name) => /^@dyetrace\/(.+)$/.exec(name)?.[1] ?? []);
      return [path.posix.basename(folder), ours];
    }),
  );
}
