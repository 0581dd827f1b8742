import { randomBytes } from "node:crypto";

/** This start of the controller: who conducts a run, where several share a database. */
export const CONTROLLER_INSTANCE: string = randomBytes(8).toString("hex");
