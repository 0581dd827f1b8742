/** How a host reaches this controller, and by what it knows that it is this one. */
export interface ControllerAddress {
  /** `https://192.0.2.1:8472` */
  readonly url: string;
  /** `sha256//…` of the certificate's public key; null without TLS. */
  readonly pin: string | null;
}

export interface EnrolOrder extends ControllerAddress {
  readonly key: string;
  /** Null: the host's own name. */
  readonly name: string | null;
  /** Null: the only one there is. */
  readonly interfaceName: string | null;
}

/**
 * One line for a host's shell. Nothing runs unless the whole script came from a controller with this very key: curl
 * checks the pin even where it does not know who signed the certificate. The key goes in by standard input, from a command
 * that is the shell's own, so that no list of processes shows it.
 */
export function enrolLine({ url, pin, key, name, interfaceName }: EnrolOrder): string {
  const curl = pin === null ? "curl -fsS" : `curl -fsSk --pinnedpubkey ${quote(pin)}`;
  const words = name === null ? [] : ["--name", name];
  if (interfaceName !== null) words.push("--interface", interfaceName);
  return `s=$(${curl} ${quote(`${url}/agent/install`)}) && echo ${quote(key)} | ${["$(command -v sudo)", 'sh -c "$s"', "dyetrace", ...words.map(quote)].join(" ")}`;
}

/** As one word of a shell. */
const quote = (text: string): string =>
  /^[A-Za-z0-9_./:=@%+-]+$/.test(text) ? text : `'${text.replaceAll("'", "'\\''")}'`;
