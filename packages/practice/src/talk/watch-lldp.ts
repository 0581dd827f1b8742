import { connect, type Socket } from "node:net";
import { setTimeout as sleep } from "node:timers/promises";
import { LldpHealth } from "./lldp-health.ts";
import { ASK_LLDPD, ASK_SNMPD, readSwitchAnswers } from "./switch-question.ts";
import { probeSocketOf } from "./talker-files.ts";

const EVERY_MS = 1_500;

/** Asks a switch's `snmpd` from time to time whether it answers for `lldpd`; as long as there is such a switch. */
export async function watchLldp(name: string, onLost: () => void): Promise<never> {
  const health = new LldpHealth();
  let socket: Socket | null = null;
  // Of each one question is open at a time: a switch that is busy is not asked more than it can answer.
  let isSnmpdAsked = false;
  let isLldpdAsked = false;
  for (; ; await sleep(EVERY_MS)) {
    if (socket === null || socket.destroyed) {
      isSnmpdAsked = false;
      isLldpdAsked = false;
      socket = connect(probeSocketOf(name)).on("error", () => {}); // it is not there yet, or started anew
      socket.on("data", (bytes) => {
        const answers = readSwitchAnswers(bytes);
        if (answers.isSnmpdThere) isSnmpdAsked = false;
        if (answers.lldpd !== null) isLldpdAsked = false;
        if (health.hear(answers, performance.now())) onLost();
      });
    }
    if (!isLldpdAsked) socket.write(ASK_LLDPD);
    if (!isSnmpdAsked) socket.write(ASK_SNMPD);
    isLldpdAsked = true;
    isSnmpdAsked = true;
  }
}
