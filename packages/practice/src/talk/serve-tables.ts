import { readTalkers, TablesProgram } from "./tables-program.ts";
import { watchLldp } from "./watch-lldp.ts";

/**
 * `node serve-tables.js FILE`: one process for the whole site, beside the switches' namespaces. Prints `ready`, and `lost NAME` where
 * a switch answers questions, but none about its neighbours.
 */
const talkers = readTalkers(process.argv[2] ?? "");
new TablesProgram().start(talkers);
for (const { name } of talkers) void watchLldp(name, () => process.stdout.write(`lost ${name}\n`));
process.stdout.write("ready\n");
