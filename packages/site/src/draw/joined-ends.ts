/** An end of a cable: a port of a device, or a host. */
export type End =
  | { readonly kind: "port"; readonly device: string; readonly port: string }
  | { readonly kind: "host"; readonly host: string }
  /** Something between the others that nobody has seen. */
  | { readonly kind: "unseen"; readonly number: number };

export interface Joint {
  readonly ends: readonly End[];
  readonly because: readonly { readonly by: "seen" | "concluded"; readonly text: string }[];
}

/** Which ends hang together without any known device between them: two are a cable, more have something in their middle. */
export class JoinedEnds {
  readonly #parents = new Map<string, string>();
  readonly #ends = new Map<string, End>();
  readonly #because = new Map<string, Joint["because"][number][]>();
  #unseen = 0;

  join(a: End, b: End, by: "seen" | "concluded", text: string): void {
    const [first, second] = [this.#root(this.#add(a)), this.#root(this.#add(b))];
    const because = [
      ...(this.#because.get(first) ?? []),
      ...(first === second ? [] : (this.#because.get(second) ?? [])),
    ];
    this.#parents.set(second, first);
    this.#because.delete(second);
    this.#because.set(first, because.some((one) => one.text === text) ? because : [...because, { by, text }]);
  }

  areJoined(a: End, b: End): boolean {
    return this.has(a) && this.has(b) && this.#root(keyOf(a)) === this.#root(keyOf(b));
  }

  has(end: End): boolean {
    return this.#parents.has(keyOf(end));
  }

  /** The ends that hang together with this one, itself among them. */
  with(end: End): readonly End[] {
    if (!this.has(end)) return [end];
    const root = this.#root(keyOf(end));
    return [...this.#ends].filter(([key]) => this.#root(key) === root).map(([, one]) => one);
  }

  /** Ports of a device that are joined to anything. */
  portsOf(device: string): readonly string[] {
    return [...this.#ends.values()].flatMap((end) => (end.kind === "port" && end.device === device ? [end.port] : []));
  }

  /** Whether all that joins it to others was seen. */
  isSeen(end: End): boolean {
    return this.has(end) && (this.#because.get(this.#root(keyOf(end))) ?? []).every(({ by }) => by === "seen");
  }

  nextUnseen(): End {
    return { kind: "unseen", number: ++this.#unseen };
  }

  joints(): readonly Joint[] {
    const byRoot = new Map<string, End[]>();
    for (const [key, end] of this.#ends) {
      const root = this.#root(key);
      byRoot.set(root, [...(byRoot.get(root) ?? []), end]);
    }
    return [...byRoot].map(([root, ends]) => ({ ends, because: this.#because.get(root) ?? [] }));
  }

  #add(end: End): string {
    const key = keyOf(end);
    if (!this.#parents.has(key)) {
      this.#parents.set(key, key);
      this.#ends.set(key, end);
    }
    return key;
  }

  #root(key: string): string {
    let at = key;
    for (let up = this.#parents.get(at) ?? at; up !== at; up = this.#parents.get(at) ?? at) at = up;
    return at;
  }
}

const keyOf = (end: End): string =>
  end.kind === "port" ? `p ${end.device} ${end.port}` : end.kind === "host" ? `h ${end.host}` : `u ${end.number}`;
