import { PracticeHostProgram } from "./practice-host-program.ts";

/** Started by `PracticeHost.start` as the first process of a fresh process namespace. */
new PracticeHostProgram().start();
