/** Kept equal to package.json by version.test.ts. */
export const VERSION = "0.1.0";
