import { gzipSync } from "node:zlib";
import type { Plugin } from "vite";

/** What a first visit may load, compressed, lazily loaded parts apart. */
const FIRST_LOAD_LIMIT_BYTES = 120_000;
const LARGEST_SHOWN = 8;

/** Prints what the first visit loads, compressed, and its largest parts; fails the build past the limit. */
export function printSizes(): Plugin {
  return {
    name: "print-sizes",
    apply: "build",
    generateBundle(_options, bundle) {
      const zipped = (source: string | Uint8Array): number => gzipSync(source).length;
      const files = Object.values(bundle).map((file) => ({
        name: file.fileName,
        bytes: zipped(file.type === "chunk" ? file.code : file.source),
        isFirst:
          file.type === "asset"
            ? file.fileName.endsWith(".css") || file.fileName.endsWith(".html")
            : isFirst(file.fileName),
      }));
      function isFirst(fileName: string): boolean {
        const entry = Object.values(bundle).find((file) => file.type === "chunk" && file.isEntry);
        if (entry?.type !== "chunk") return true;
        const reached = new Set<string>();
        const visit = (name: string): void => {
          if (reached.has(name)) return;
          reached.add(name);
          const chunk = bundle[name];
          if (chunk?.type === "chunk") for (const next of chunk.imports) visit(next);
        };
        visit(entry.fileName);
        return reached.has(fileName);
      }
      const parts = new Map<string, number>();
      for (const file of Object.values(bundle)) {
        if (file.type !== "chunk") continue;
        for (const [id, module] of Object.entries(file.modules)) {
          if (module.code === null) continue;
          const part =
            /node_modules\/((?:@[^/]+\/)?[^/]+)/.exec(id)?.[1] ?? id.replace(/.*packages\//, "").replace(/\/.*/, "");
          parts.set(part, (parts.get(part) ?? 0) + zipped(module.code));
        }
      }
      const kb = (bytes: number): string => `${(bytes / 1000).toFixed(1)} kB`.padStart(9);
      const first = files.filter((file) => file.isFirst).reduce((sum, file) => sum + file.bytes, 0);
      const lines = [
        "",
        "Compressed sizes:",
        ...files.map(({ name, bytes, isFirst: now }) => `  ${kb(bytes)}  ${name}${now ? "" : "  (loaded later)"}`),
        "Largest parts:",
        ...[...parts]
          .sort((a, b) => b[1] - a[1])
          .slice(0, LARGEST_SHOWN)
          .map(([name, bytes]) => `  ${kb(bytes)}  ${name}`),
        `First load: ${kb(first).trim()} of ${kb(FIRST_LOAD_LIMIT_BYTES).trim()}`,
        "",
      ];
      process.stdout.write(`${lines.join("\n")}\n`);
      if (first > FIRST_LOAD_LIMIT_BYTES) this.error(`The first load is ${first} bytes compressed: too much`);
    },
  };
}
