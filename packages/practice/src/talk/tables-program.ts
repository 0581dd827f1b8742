import { execFile } from "node:child_process";
import { closeSync, constants, openSync, readFileSync, writeSync } from "node:fs";
import { Socket } from "node:net";
import { createInterface } from "node:readline";
import { promisify } from "node:util";
import { inside } from "../host/step.ts";
import { type BridgeState, bridgeObjects } from "./bridge-objects.ts";
import { formatOid, type OidRow, OidRows, parseOid } from "./oid-rows.ts";
import { COUNTING_TABLE, folderOf, TREE_NAMES, TREES, type TreeName } from "./talker-files.ts";
import type { Talker } from "./talkers.ts";

/**
 * Answers for every switch of the site what `snmpd` asks of its tables: reads them from the kernel when somebody asks, and not
 * again while that reading goes on. Speaks `pass_persist` of snmpd.conf(5) over named pipes, for each part of the tree.
 */
export class TablesProgram {
  readonly #snapshots = new Map<string, Snapshot>();

  start(talkers: readonly Talker[]): void {
    for (const talker of talkers) for (const tree of TREE_NAMES) this.#serve(talker, tree);
  }

  #serve(talker: Talker, tree: TreeName): void {
    const pipe = `${folderOf(talker.name)}/${tree}`;
    // Opened to read and write, a pipe neither waits for its other end nor ends with it (fifo(7)).
    const questions = new Socket({ fd: openSync(`${pipe}.questions`, O_RDWR | O_NONBLOCK), writable: false });
    let answers: AnswerPipe | null = null;
    let verb: string | null = null;
    let turn = Promise.resolve();
    createInterface({ input: questions }).on("line", (line) => {
      if (line.startsWith(SESSION)) {
        verb = null;
        const next = AnswerPipe.open(line.slice(SESSION.length));
        turn = turn.then(() => {
          answers?.close();
          answers = next;
        });
        return;
      }
      if (verb === null && line !== "PING") {
        verb = line;
        return;
      }
      const asked = verb;
      verb = null;
      turn = turn.then(async () => {
        const answer = asked === null ? "PONG\n" : await this.#answer(talker, tree, asked, line).catch(() => NONE);
        answers?.write(answer);
      });
    });
  }

  async #answer(talker: Talker, tree: TreeName, verb: string, text: string): Promise<string> {
    const rows = (await this.#read(talker, tree)).get(tree);
    const oid = parseOid(text);
    const row = verb === "get" ? rows?.get(oid) : verb === "getnext" ? rows?.next(oid) : null;
    return row == null ? NONE : `${formatOid(row.oid)}\n${row.type}\n${row.value}\n`;
  }

  #read(talker: Talker, tree: TreeName): Promise<ReadonlyMap<TreeName, OidRows>> {
    const key = `${talker.name} ${tree}`;
    const known = this.#snapshots.get(key);
    if (known !== undefined && performance.now() < known.untilMs) return known.rows;
    const rows = tree === "bridge" ? readBridge(talker) : readCounts(talker);
    const snapshot: Snapshot = { rows, untilMs: Number.POSITIVE_INFINITY };
    this.#snapshots.set(key, snapshot);
    const keepMs = tree === "bridge" ? TABLES_KEPT_MS : COUNTS_KEPT_MS;
    const expire = (): void => {
      snapshot.untilMs = performance.now() + keepMs;
    };
    rows.then(expire, expire);
    return rows;
  }
}

interface Snapshot {
  untilMs: number;
  readonly rows: Promise<ReadonlyMap<TreeName, OidRows>>;
}

/** What `snmpd` reads, from one start of its relay to the next. */
class AnswerPipe {
  readonly #fd: number;

  private constructor(fd: number) {
    this.#fd = fd;
  }

  /** Whoever reads has it open by then, or opens it later: its name is needed no more after that, and goes with the site. */
  static open(pipe: string): AnswerPipe {
    return new AnswerPipe(openSync(pipe, O_RDWR | O_NONBLOCK));
  }

  /** A pipe that nobody empties takes no more: whoever asked has gone, and its next start gets another one. */
  write(answer: string): void {
    try {
      writeSync(this.#fd, answer);
    } catch (error) {
      if ((error as NodeJS.ErrnoException).code !== "EAGAIN") throw error;
    }
  }

  close(): void {
    closeSync(this.#fd);
  }
}

const { O_RDWR, O_NONBLOCK } = constants;
/** The relay's own first line. */
const SESSION = "SESSION ";
const NONE = "NONE\n";
/** Since they were read: a walk through one table takes less, and what it finds is of one moment. */
const TABLES_KEPT_MS = 1_500;
const COUNTS_KEPT_MS = 200;

async function json(argv: readonly string[]): Promise<unknown> {
  const [program = "", ...rest] = argv;
  const { stdout } = await promisify(execFile)(program, rest, { maxBuffer: 64 * 1024 * 1024 });
  return JSON.parse(stdout.trim() || "[]");
}

async function readBridge(talker: Talker): Promise<ReadonlyMap<TreeName, OidRows>> {
  const bridge = (...words: string[]): Promise<unknown> => json(["bridge", "-n", talker.name, "-j", ...words]);
  const [fdb, mdb, links, interfaces] = await Promise.all([
    bridge("fdb", "show"),
    bridge("-d", "mdb", "show"),
    bridge("link", "show"),
    json(["ip", "-n", talker.name, "-j", "link", "show"]),
  ]);
  const [table] = mdb as readonly { mdb?: BridgeState["mdb"]; router?: BridgeState["routerPorts"] }[];
  const state: BridgeState = {
    fdb: fdb as BridgeState["fdb"],
    mdb: table?.mdb ?? [],
    routerPorts: table?.router ?? {},
    links: links as BridgeState["links"],
    addresses: new Map(
      (interfaces as readonly { ifname: string; address: string }[]).map(({ ifname, address }) => [ifname, address]),
    ),
  };
  return new Map([["bridge", new OidRows(bridgeObjects(talker, state))]]);
}

/** ifHCInMulticastPkts and ifHCOutMulticastPkts (RFC 2863), as nftables counted them at the ports. */
async function readCounts(talker: Talker): Promise<ReadonlyMap<TreeName, OidRows>> {
  const answer = await json(inside(talker.name, ["nft", "-j", "list", "counters", "table", "netdev", COUNTING_TABLE]));
  const rows: Record<"in" | "out", OidRow[]> = { in: [], out: [] };
  for (const { counter } of (answer as CountersJson).nftables) {
    const [, direction, index] = /^(in|out)([0-9]+)$/.exec(counter?.name ?? "") ?? [];
    if (counter === undefined || (direction !== "in" && direction !== "out")) continue;
    const tree = direction === "in" ? TREES.inMulticast : TREES.outMulticast;
    rows[direction].push({
      oid: [...parseOid(tree), Number(index)],
      type: "counter64",
      value: String(counter.packets),
    });
  }
  return new Map([
    ["inMulticast", new OidRows(rows.in)],
    ["outMulticast", new OidRows(rows.out)],
  ]);
}

interface CountersJson {
  readonly nftables: readonly { readonly counter?: { readonly name: string; readonly packets: number } }[];
}

/** What the program is started with. */
export const readTalkers = (file: string): readonly Talker[] => JSON.parse(readFileSync(file, "utf8")) as Talker[];
