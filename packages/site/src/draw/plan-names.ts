/** As `loadSitePlan` takes them. */
export const PORT_NAME: RegExp = /^[A-Za-z0-9][A-Za-z0-9._/-]{0,12}$/;

/** @returns a name that a plan takes for a port, as near to what it is called as may be */
export function planPort(text: string): string {
  const plain = text.replace(/[^A-Za-z0-9._/-]+/g, "-").replace(/^[^A-Za-z0-9]+/, "");
  return plain.length <= 13 ? plain || "port" : plain.slice(-13).replace(/^[^A-Za-z0-9]+/, "");
}

/** Names of nodes, each unlike the others. */
export class PlanNames {
  readonly #taken = new Set(["controller", "all", "none"]);

  /** @returns `text` where it may be a node's name and is free, or something near */
  take(text: string): string {
    const plain =
      text
        .replace(/[^A-Za-z0-9-]+/g, "-")
        .replace(/^[^A-Za-z]+|-+$/g, "")
        .slice(0, 31) || "node";
    for (let number = 1; ; number++) {
      const name = number === 1 ? plain : `${plain.slice(0, 27)}-${number}`;
      if (this.#taken.has(name)) continue;
      this.#taken.add(name);
      return name;
    }
  }
}
