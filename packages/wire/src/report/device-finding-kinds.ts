import type { FindingKindFacts } from "./finding-kind-facts.ts";

/** A part of the table of kinds: what devices that were read say, beside what agents know. */
export const DEVICE_FINDING_KINDS = {
  "device-disagrees": {
    effect: "informs",
    glyph: "fact",
    compared: "note",
    restsOnLeaves: false,
    confidence: 0.95,
    label: "device disagrees",
    meaning: "A device's counters or its group table do not say the same as the agents behind it.",
  },
} as const satisfies Readonly<Record<string, FindingKindFacts>>;
