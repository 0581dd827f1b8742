import { bundleAgent } from "../deploy/bundle-agent.mjs";
import { bundleController } from "../deploy/bundle-controller.mjs";

/** Before the tests that start our programs as processes of their own: they are bundled anew where something was compiled since. */
export default async function setup() {
  await bundleAgent();
  await bundleController();
}
