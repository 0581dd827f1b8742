import { readdirSync, readFileSync } from "node:fs";

const SHIPPED = new URL("../../../controller/scenarios/", import.meta.url);

/** Of a night, what fits here: as many packets as its limit needs, faster. */
const SOAK = { length: "160s", rate: "20 Mbit/s" };

/** For `--short`: the same timelines with shorter steps, and rates that leave the processor to others. */
const SHORT = {
  reach: { length: "5s" },
  ageing: { hold: "membership-interval + 4s" },
  containment: { rate: "1 Mbit/s", hold: "6s" },
  "join-and-leave": { times: "3", every: "9s", "first-leave": "6s" },
  "many-groups": { groups: "32" },
  "rate-steps": { step: "2s", "rate-6": "10 Mbit/s", "rate-7": "12 Mbit/s", "rate-8": "14 Mbit/s" },
  "shared-port": { "first-leave": "7s", every: "9s", "after-leave": "6s" },
  "size-steps": { step: "2s" },
  soak: { length: "8s", rate: "1 Mbit/s" },
};

/** Every shipped scenario with every set of members that it can have on this site. */
export function scenarioRuns(site, isShort) {
  return readdirSync(SHIPPED)
    .filter((file) => file.endsWith(".yaml"))
    .flatMap((file) => {
      const scenario = file.replace(".yaml", "");
      const text = readFileSync(new URL(file, SHIPPED), "utf8");
      const common = {
        source: site.source,
        ...(site.ttl === undefined ? {} : { ttl: site.ttl }),
        ...(scenario === "soak" ? SOAK : {}),
        ...(isShort ? SHORT[scenario] : {}),
      };
      return memberSets(text, site).map(({ members, parameters }) => ({
        scenario,
        members,
        text,
        parameters: { ...common, ...parameters },
      }));
    });
}

/** Scenarios that everybody joins have one set, those for a shared port one for each pair. */
function memberSets(text, { some, all, shared }) {
  const list = (names) => `[${names.join(", ")}]`;
  if (/^ {2}members:/m.test(text)) {
    return [
      { members: "some members", parameters: { members: list(some) } },
      { members: "all members", parameters: { members: list(all) } },
    ];
  }
  if (/^ {2}stays:/m.test(text)) {
    return shared.map(([stays, leaves]) => ({ members: `${stays} and ${leaves}`, parameters: { stays, leaves } }));
  }
  return [{ members: "all", parameters: {} }];
}
