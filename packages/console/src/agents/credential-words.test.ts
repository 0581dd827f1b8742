import { expect, test } from "vitest";
import { credentialWords } from "./credential-words.ts";

const kiosk = {
  name: "kiosk",
  since: "2026-11-29T12:00:00.000Z",
  from: "192.0.2.7",
  until: "2027-02-27T12:00:00.000Z",
  hasEnded: false,
  isRenewalDue: false,
  trouble: null,
};

test("credentialWords: given what the controller knows of a credential, then no more is said than that", () => {
  expect(credentialWords(undefined)).toBe("unknown");
  expect(credentialWords(null)).toBe("the key that is the same for all");
  expect(credentialWords(kiosk)).toBe("ends 27 Feb 2027, exchanged before that");
  expect(credentialWords({ ...kiosk, isRenewalDue: true })).toBe("ends 27 Feb 2027; the next one is due");
  expect(credentialWords({ ...kiosk, isRenewalDue: true, trouble: "No room" })).toMatch(/could not keep .*: No room$/);
  expect(credentialWords({ ...kiosk, hasEnded: true, isRenewalDue: true })).toBe("ended 27 Feb 2027: enrol it again");
  expect(credentialWords({ ...kiosk, until: null, isRenewalDue: true })).toMatch(/^without an end/);
});
