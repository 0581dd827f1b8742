import { Fault } from "@dyetrace/wire";

/** @param words what `unshare`, `sh` or the host wrote before it ended */
export function explainHostFailure(words: string): Fault {
  // Programs put their own name before the system's reason, in every language.
  if (!/^(unshare|mount|sh):/m.test(words)) {
    return new Fault("PRACTICE_FAILED", `The practice site's inner process ended at once: ${words}`, "");
  }
  return new Fault(
    "NEEDS_PRIVILEGE",
    `This system did not let us make namespaces for a practice site (${words})`,
    process.getuid?.() === 0
      ? "In a container, start it with the right to administer its network and mounts (CAP_SYS_ADMIN and CAP_NET_ADMIN)"
      : "Run it as root, or allow namespaces to plain users: sysctl -w user.max_user_namespaces=15000, " +
          "and where they exist kernel.unprivileged_userns_clone=1 and kernel.apparmor_restrict_unprivileged_userns=0",
  );
}
