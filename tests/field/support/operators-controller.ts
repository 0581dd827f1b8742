import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { pino } from "pino";
import { AccessBook } from "../../../controller/src/access/access-book.ts";
import type { OperatorRecord } from "../../../controller/src/access/access-records.ts";
import { hashPassword } from "../../../controller/src/access/password.ts";
import { ownTlsIdentity } from "../../../controller/src/access/tls-identity.ts";
import { startController } from "../../../controller/src/service/controller-service.ts";

export const PASSWORD = "correct horse 1";

/** A new record each time: its salt is another. */
export const operatorRecord = async (
  name: string,
  role: OperatorRecord["role"] = "operate",
  password = PASSWORD,
): Promise<OperatorRecord> => ({ name, role, password: await hashPassword(password), since: new Date().toISOString() });

/** A controller of this very process that asks who one is, with a data folder of its own. */
export interface OperatorsController extends AsyncDisposable {
  readonly url: string;
  readonly folder: string;
  readonly book: AccessBook;
  /** Of its key; null without TLS. */
  readonly pin: string | null;
}

export async function startWithOperators(
  operators: readonly OperatorRecord[],
  { isTls = false } = {},
): Promise<OperatorsController> {
  const folder = mkdtempSync(path.join(tmpdir(), "dyetrace-operators-"));
  const book = new AccessBook(folder);
  book.change(() => ({ operators: [...operators] }));
  const tls = isTls ? await ownTlsIdentity(folder) : null;
  const controller = await startController({
    host: "127.0.0.1",
    port: 0,
    isSignInNeeded: true,
    ...(tls === null ? {} : { tls }),
    dataFolder: folder,
    log: pino({ level: "silent" }),
  });
  return {
    url: controller.url,
    folder,
    book,
    pin: tls?.pin ?? null,
    async [Symbol.asyncDispose]() {
      await controller.close();
      rmSync(folder, { recursive: true, force: true });
    },
  };
}
