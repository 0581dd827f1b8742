import { type MessagePort, workerData } from "node:worker_threads";
import pg from "pg";

/** The other half of `SharedAccess`: asks the database while the main thread waits for the answer. */
const { url, port, signal } = workerData as { url: string; port: MessagePort; signal: Int32Array };

type Question =
  | { readonly kind: "begin" }
  | { readonly kind: "leave" }
  | { readonly kind: "write"; readonly text: string };

/** Of a change that is under way. */
let client: pg.Client | null = null;

async function end(): Promise<void> {
  const ending = client;
  client = null;
  await ending?.end().catch(() => undefined);
}

async function answer(question: Question): Promise<object> {
  if (question.kind === "leave") {
    await end();
    return {};
  }
  if (question.kind === "begin") {
    await end();
    client = new pg.Client({ connectionString: url, connectionTimeoutMillis: 1500, query_timeout: 1500 });
    client.on("error", () => undefined);
    await client.connect();
    await client.query("begin");
    await client.query("insert into shared_access (id, version, body) values (1, 0, '') on conflict (id) do nothing");
    const { rows } = await client.query<{ body: string }>("select body from shared_access where id = 1 for update");
    const [row] = rows;
    return { text: row === undefined || row.body === "" ? null : row.body };
  }
  if (client === null) throw new Error("no change is under way");
  const { rows } = await client.query<{ version: string }>(
    "update shared_access set body = $1, version = version + 1 where id = 1 returning version",
    [question.text],
  );
  await client.query("commit");
  await end();
  return { version: Number(rows[0]?.version) };
}

// One after the other: a question that comes while the one before is answered waits for it.
let turn: Promise<void> = Promise.resolve();
port.on("message", (question: Question) => {
  turn = turn.then(async () => {
    let told: object;
    try {
      told = await answer(question);
    } catch (error) {
      await end();
      const { message, code = "" } = error as { message: string; code?: string };
      told = { error: { message, code } };
    }
    port.postMessage(told);
    Atomics.store(signal, 0, 1);
    Atomics.notify(signal, 0);
  });
});
port.postMessage({});
