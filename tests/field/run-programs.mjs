/**
 * `dyetrace` several times in one process, for commands that end by themselves: reading its modules anew takes a second of
 * processor each time. Standard input: JSON list of { cwd, argv }. Prints a list of { status, stdout, stderr }.
 */
import { text } from "node:stream/consumers";
import { runProgram } from "../../controller/dist/main.js";

const written = { stdout: "", stderr: "" };
const write = process.stdout.write.bind(process.stdout);
for (const name of ["stdout", "stderr"]) {
  process[name].write = (chunk) => {
    written[name] += String(chunk);
    return true;
  };
}
const results = [];
for (const { cwd, argv } of JSON.parse(await text(process.stdin))) {
  process.chdir(cwd);
  process.exitCode = 0;
  Object.assign(written, { stdout: "", stderr: "" });
  await runProgram(argv);
  results.push({ status: process.exitCode, ...written });
}
process.exitCode = 0;
write(JSON.stringify(results));
