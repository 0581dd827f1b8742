import { expect, test } from "vitest";
import { controllerAddress } from "./controller-address.ts";

test.each(["http://127.0.0.1:8472", "https://[2001:db8::1]:8472", "https://controller.example/"])(
  "controllerAddress: given %s, then it is one",
  (text) => {
    expect(controllerAddress(text)).toBe(text);
  },
);

test.each(["nope", "ftp://192.0.2.1", "192.0.2.1:8472", "http://x:99999", ""])(
  "controllerAddress: given %j, then it says what is wrong and how to write it",
  (text) => {
    expect(() => controllerAddress(text)).toThrow(`--controller ${text} is no address of a controller`);
  },
);
