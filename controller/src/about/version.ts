/** Kept equal to package.json by version.test.ts: one number for controller and agent. */
export const VERSION = "0.1.0";
