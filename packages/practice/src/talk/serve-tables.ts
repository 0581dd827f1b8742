import { readTalkers, TablesProgram } from "./tables-program.ts";

/** `node serve-tables.js FILE`: one process for the whole site, beside the switches' namespaces. Prints `ready`. */
new TablesProgram().start(readTalkers(process.argv[2] ?? ""));
process.stdout.write("ready\n");
