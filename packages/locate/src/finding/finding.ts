import type { FindingKind } from "@dyetrace/wire";
import type { ElementKind } from "../cover/failure-element.ts";

/** What one suspect would be at fault as. A place has several where more than one of them would look the same. */
export interface SuspectElement {
  /** Segment id or node name; a cable stands there once by each of its directions. */
  readonly place: string;
  readonly kind: ElementKind;
  /** Of the kinds that concern one group, one source or one sort of join: which, as in `FailureElement`. Null: all. */
  readonly of: string | null;
}

/** What a finding about silence rests on, in terms that a further run can put to the test. */
export interface FindingCauses {
  /** Payload of the smallest packets that did not come. */
  readonly payloadBytes: number;
  /** Who got nothing of what; the first ones where there are many. */
  readonly silent: readonly { readonly stream: string; readonly host: string }[];
  readonly elements: readonly SuspectElement[];
}

export interface Finding {
  readonly kind: FindingKind;
  readonly streams: readonly string[];
  /**
   * Segment ids (`a:port>b:port`) or node names, most likely first, no name twice. More than one: this run cannot tell
   * them apart, and the evidence says why. Empty where the finding accuses no place (a fact about the whole site).
   */
  readonly suspects: readonly string[];
  /** Probability that the true cause is among the suspects, 0 to 1. */
  readonly confidence: number;
  /** One sentence to walk to the rack with. */
  readonly title: string;
  readonly evidence: readonly string[];
  /** What to look at next. */
  readonly advice: string;
  /** The standard that says how it should be. */
  readonly reference: string;
  /** Absent where no further run could part the suspects by who is silent in it. */
  readonly causes?: FindingCauses;
  /** Hosts whose reports show it: what was silent, lost or saw what it should not. Absent where that is no question. */
  readonly witnesses?: readonly string[];
  /** How many observations the plan contradicts. Absent: that is not what the finding is about. */
  readonly contradictions?: number;
  /** Hosts that seem to sit elsewhere than the plan has them. Absent: none. */
  readonly misplaced?: readonly MisplacedHost[];
}

/** A host that seems to sit elsewhere than the plan has it. */
export interface MisplacedHost {
  readonly host: string;
  /** The node that it hangs on in the plan; null where it hangs on none, or on several. */
  readonly plannedAt: string | null;
  /** The node that it seems to hang on; null where several would fit. */
  readonly seemsAt: string | null;
}
