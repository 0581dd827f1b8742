/**
 * The part of a controller that lets agents in and renews their credentials, as a process that a test can kill. It orders another
 * credential for all agents without end. Arguments: data folder, port.
 */
import http from "node:http";
import { pino } from "pino";
import { WebSocketServer } from "ws";
import { AccessBook } from "../../controller/dist/access/access-book.js";
import { AgentDoor } from "../../controller/dist/access/agent-door.js";
import { acceptAgents } from "../../controller/dist/agents/accept-agents.js";
import { AgentRegistry } from "../../controller/dist/agents/agent-registry.js";
import { ConnectionLedger } from "../../controller/dist/agents/connection-limits.js";
import { CredentialRenewal } from "../../controller/dist/agents/credential-renewal.js";

const [folder = "", port = "0"] = process.argv.slice(2);
const log = pino({ level: "silent" });
const door = new AgentDoor(new AccessBook(folder), null);
const registry = new AgentRegistry(door);
new CredentialRenewal({ registry, door, log, onRenewed: () => undefined, now: Date.now });
setInterval(() => door.records.some(({ isRotationDue }) => isRotationDue !== true) && door.orderRotation(null), 1);
const server = http.createServer();
acceptAgents(server, new WebSocketServer({ noServer: true }), registry, new ConnectionLedger(), log);
server.listen(Number(port), "127.0.0.1", () => process.stdout.write(`port ${server.address().port}\n`));
