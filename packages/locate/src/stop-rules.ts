import type { DiagnosisRule } from "./diagnosis-rule.ts";
import type { StopCase } from "./stop-case.ts";
import { placePhrase, silentPhrase } from "./stop-wording.ts";
import { nameList } from "./wording.ts";

/** What a stop is, from the most particular to the plain one. The first row that applies speaks. */
export const STOP_RULES: readonly DiagnosisRule<StopCase>[] = [
  {
    kind: "size-limited",
    when: (stop) => stop.size !== null,
    title: (stop) =>
      `${nameList(stop.streams)}: packets over ${stop.size?.largestPassingBytes} bytes of payload stop ${placePhrase(stop)}; ${silentPhrase(stop)}`,
    evidence: (stop) => [
      `Packets of ${stop.size?.largestPassingBytes} bytes of payload pass the same way, packets of ${stop.size?.smallestFailingBytes} bytes and more do not.`,
    ],
    advice:
      "Compare the largest frame size (MTU, jumbo frame setting) of the two ports and of every tunnel between them. No router or switch reports a multicast packet that is too large, so nothing else will tell.",
    reference: "RFC 1122, section 3.2.2: no ICMP error is sent about a multicast packet",
  },
  {
    kind: "group-specific",
    when: (stop) => stop.passingStreams.length > 0,
    title: (stop) => `${nameList(stop.streams)} alone stops ${placePhrase(stop)}; ${silentPhrase(stop)}`,
    evidence: (stop) => [
      `${nameList(stop.passingStreams)} comes through the same place, so cable and port are good and the fault concerns this group.`,
    ],
    advice:
      "Look up the group in the group table of the switch: is the port a member, does a filter or a limit on groups per port apply, is the table full? Then see whether membership reports for this group arrive there.",
    reference: "RFC 4541, section 2.1.1",
  },
  {
    kind: "stops",
    when: () => true,
    title: (stop) => `${nameList(stop.streams)} stops ${placePhrase(stop)}: ${silentPhrase(stop)}`,
    advice:
      "Look at the link's state and error counters on both ports, then at the group table of the switch that sends into it: if the port is not listed for the group, follow the membership reports from the listeners upwards; if it is, follow the frames.",
    reference: "RFC 4541, section 2.1",
  },
];
