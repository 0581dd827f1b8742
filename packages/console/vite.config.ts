import { defineConfig } from "vite";
import { printSizes } from "./build/print-sizes.ts";

export default defineConfig({
  build: {
    outDir: "dist/page",
    emptyOutDir: true,
    target: "es2022",
    // A data: address would be refused by the page's own security policy for anything but pictures.
    assetsInlineLimit: 0,
    reportCompressedSize: false,
    modulePreload: { polyfill: false },
  },
  oxc: { jsx: { runtime: "automatic", importSource: "preact" } },
  plugins: [printSizes()],
});
