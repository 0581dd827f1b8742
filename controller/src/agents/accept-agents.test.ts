import { once } from "node:events";
import { createServer } from "node:http";
import { type AddressInfo, connect } from "node:net";
import { pino } from "pino";
import { expect, test } from "vitest";
import { WebSocketServer } from "ws";
import { acceptAgents } from "./accept-agents.ts";
import { AgentRegistry } from "./agent-registry.ts";
import { ConnectionLedger } from "./connection-limits.ts";

test("acceptAgents: given a stranger who is refused and keeps its half of the connection open, then the server can still end", async () => {
  const server = createServer();
  const registry = new AgentRegistry({ admit: () => null, isGood: () => true });
  acceptAgents(
    server,
    new WebSocketServer({ noServer: true }),
    registry,
    new ConnectionLedger(),
    pino({ level: "silent" }),
  );
  server.listen(0, "127.0.0.1");
  await once(server, "listening");
  const { port } = server.address() as AddressInfo;
  const stranger = connect({ port, host: "127.0.0.1", allowHalfOpen: true });
  // RFC 6455 section 4.1, at a path that is not the agents'.
  stranger.write("GET /elsewhere HTTP/1.1\r\nHost: x\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n\r\n");
  const [answer] = await once(stranger, "data");
  expect(String(answer)).toContain("404 Not Found");
  stranger.resume();
  const ended = once(server, "close", { signal: AbortSignal.timeout(5000) });
  server.close();
  server.closeAllConnections();
  await ended;
  stranger.destroy();
  registry.close();
});
