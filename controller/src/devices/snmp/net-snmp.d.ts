/** What this project uses of net-snmp 3.29, which comes without types. */
declare module "net-snmp" {
  import type { EventEmitter } from "node:events";

  export interface Varbind {
    readonly oid: string;
    readonly type: number;
    readonly value: number | string | Buffer | boolean | null;
  }

  interface Message {
    hasAuthentication(): number;
    hasPrivacy(): number;
  }

  interface Request {
    responseCb(error: Error): void;
  }

  export interface Session extends EventEmitter {
    get(oids: readonly string[], done: (error: Error | null, varbinds: readonly Varbind[]) => void): void;
    getBulk(
      oids: readonly string[],
      nonRepeaters: number,
      maxRepetitions: number,
      done: (error: Error | null, varbinds: readonly (readonly Varbind[])[]) => void,
    ): void;
    close(): void;
    onSimpleGetResponse(request: Request, message: Message): void;
  }

  export interface SessionOptions {
    readonly version?: number;
    readonly port: number;
    readonly transport: "udp4" | "udp6";
    readonly timeout: number;
    readonly retries: number;
    readonly dgramModule: { createSocket(type: "udp4" | "udp6"): EventEmitter };
  }

  export interface User {
    readonly name: string;
    readonly level: number;
    readonly authProtocol: number;
    readonly authKey: string;
    readonly privProtocol: number;
    readonly privKey: string;
  }

  interface Library {
    createSession(target: string, community: string, options: SessionOptions): Session;
    createV3Session(target: string, user: User, options: SessionOptions): Session;
    isVarbindError(varbind: Varbind): boolean;
    readonly Version2c: number;
    readonly SecurityLevel: { readonly authPriv: number };
    readonly AuthProtocols: Readonly<Record<"md5" | "sha" | "sha224" | "sha256" | "sha384" | "sha512", number>>;
    readonly PrivProtocols: Readonly<Record<"des" | "aes" | "aes256b" | "aes256r", number>>;
    readonly ObjectType: Readonly<Record<"OctetString" | "OID" | "IpAddress" | "Counter64", number>>;
  }
  const library: Library;
  export default library;
}
