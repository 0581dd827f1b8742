/** As little of a controller as an agent needs to join, run and be told the time: so that the figures are the agent's alone. */
import { once } from "node:events";
import { CONTROL_PROTOCOL } from "@dyetrace/wire";
import { WebSocketServer } from "ws";

const nowNs = () => Number(process.hrtime.bigint());

export class ScriptedController {
  #server;
  #sockets = new Map();
  #waiting = [];
  #beats;
  /** The runs that it says it conducts: sources go on by that alone. */
  conducts = [];

  async listen(host) {
    this.#server = new WebSocketServer({ host, port: 0 });
    await once(this.#server, "listening");
    this.url = `http://${host}:${this.#server.address().port}`;
    this.#server.on("connection", (socket) => socket.on("message", (data) => this.#take(socket, JSON.parse(data))));
    this.#beats = setInterval(() => {
      for (const name of this.#sockets.keys()) this.tell(name, { kind: "beat", conducts: this.conducts });
    }, 1000);
  }

  tell(name, message) {
    this.#sockets.get(name)?.send(JSON.stringify(message));
  }

  /** @returns {Promise<object>} the next message of this agent that `isIt` */
  async heard(name, isIt, withinMs = 20_000) {
    let timer;
    try {
      return await new Promise((resolve, reject) => {
        this.#waiting.push({ name, isIt, resolve });
        timer = setTimeout(() => reject(new Error(`${name} did not say it in ${withinMs} ms: ${isIt}`)), withinMs);
      });
    } finally {
      clearTimeout(timer);
    }
  }

  close() {
    clearInterval(this.#beats);
    for (const socket of this.#server.clients) socket.terminate();
    this.#server.close();
  }

  #take(socket, message) {
    if (message.kind === "hello") {
      socket.agent = message.name;
      this.#sockets.set(message.name, socket);
      socket.send(JSON.stringify({ kind: "welcome", protocol: CONTROL_PROTOCOL, version: message.version }));
    }
    if (message.kind === "clock-ask")
      this.tell(socket.agent, { kind: "clock-answer", id: message.id, controllerNs: nowNs() });
    if (message.kind === "report") {
      const { runId, stint, lastNumber } = message;
      this.tell(socket.agent, { kind: "ack", runId, stint, lastNumber });
    }
    this.#waiting = this.#waiting.filter(({ name, isIt, resolve }) => {
      const isWanted = name === socket.agent && isIt(message);
      if (isWanted) resolve(message);
      return !isWanted;
    });
  }
}
