import { hearMemberships } from "./hear-memberships.ts";
import { MulticastRouter } from "./multicast-router.ts";
import type { RouterConfig } from "./router-config.ts";

/** `node route-multicast.js CONFIG`: the process of one router, inside its namespace. Prints `ready` when it routes. */
const config = JSON.parse(process.argv[2] ?? "") as RouterConfig;
const router = new MulticastRouter(config);
for (const [at, { index, mac }] of config.interfaces.entries()) {
  hearMemberships(index, mac, (message) => router.hear(at, message));
}
await router.start();
process.stdout.write("ready\n");
