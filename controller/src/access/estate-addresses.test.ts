import { pino } from "pino";
import { expect, test } from "vitest";
import { addressOf } from "../commands/controller.ts";
import { AccessBook } from "./access-book.ts";
import { EstateAddresses, withController } from "./estate-addresses.ts";

const DAY_MS = 24 * 3600e3;
const LOG = pino({ level: "silent" });

test("EstateAddresses: given controllers that share a book, then each tells of all, and of none that does not know its own address", () => {
  const book = new AccessBook(null);
  using one = new EstateAddresses(book, { url: "https://192.0.2.1:8472", pin: "sha256//one" }, LOG);
  using _two = new EstateAddresses(book, { url: "https://192.0.2.2:8472", pin: null }, LOG);
  using unknown = new EstateAddresses(book, null, LOG);
  const both = [
    { url: "https://192.0.2.2:8472", pin: null },
    { url: "https://192.0.2.1:8472", pin: "sha256//one" },
  ];
  expect([one.all, unknown.all]).toEqual([both, both]);
});

test("withController: given one that comes again with another pin, and one that was not there for a month, then the first once and the other no more", () => {
  const seen = (daysAgo: number): string => new Date(100 * DAY_MS - daysAgo * DAY_MS).toISOString();
  const known = [
    { url: "https://192.0.2.1:8472", pin: "old", seen: seen(1) },
    { url: "https://192.0.2.2:8472", pin: "gone", seen: seen(31) },
    { url: "https://192.0.2.3:8472", pin: "here", seen: seen(29) },
  ];
  expect(withController(known, { url: "https://192.0.2.1:8472", pin: "new" }, 100 * DAY_MS)).toEqual([
    { url: "https://192.0.2.1:8472", pin: "new", seen: seen(0) },
    { url: "https://192.0.2.3:8472", pin: "here", seen: seen(29) },
  ]);
});

test("addressOf: given what a controller listens on, then what hosts can reach, or nothing", () => {
  const of = (host: string, address?: string): string | null => addressOf(address, { host, port: 8472 }, true);
  expect([of("192.0.2.1"), of("2001:db8::1"), of("0.0.0.0"), of("::"), of("127.0.0.1")]).toEqual([
    "https://192.0.2.1:8472",
    "https://[2001:db8::1]:8472",
    ...[null, null, null],
  ]);
  expect(of("0.0.0.0", "https://controller-1.example:8472/")).toBe("https://controller-1.example:8472");
  expect(() => of("0.0.0.0", "controller-1:8472")).toThrow("is no address of a controller");
});
