import { expect, test } from "vitest";
import { ASK_LLDPD, readSwitchAnswers } from "./switch-question.ts";

const bytes = (hex: string): Buffer => Buffer.from(hex.replaceAll(" ", ""), "hex");

// Answers of Debian's snmpd 5.9.3 to this very question, taken down as they came.
const WITHOUT_LLDPD = bytes(
  "3027 020101 0405 70726f6265 a21b 020101 020100 020100 3010 300e 060a28c46201010201030200 8000",
);
const WITH_LLDPD = bytes(
  "3029 020101 0405 70726f6265 a21d 020101 020100 020100 3012 3010 060a28c46201010201030200 0402766d",
);

test("given the question, then it is the GetRequest that X.690 and RFC 3416 make of it", () => {
  expect(ASK_LLDPD.toString("hex")).toBe(
    "3027020101040570726f6265a01b020101020100020100301030" + "0e060a28c462010102010302000500",
  );
});

test("given what snmpd said with lldpd and without, then they are told apart, and neither is an answer of its own", () => {
  expect(readSwitchAnswers(WITH_LLDPD)).toEqual({ isSnmpdThere: false, lldpd: "there" });
  expect(readSwitchAnswers(WITHOUT_LLDPD)).toEqual({ isSnmpdThere: false, lldpd: "missing" });
  expect(readSwitchAnswers(bytes("06082b06010201010300 430104"))).toEqual({ isSnmpdThere: true, lldpd: null });
});
