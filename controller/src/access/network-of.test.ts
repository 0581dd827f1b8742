import { expect, test } from "vitest";
import { networkOfAddress } from "./network-of.ts";

test("networkOfAddress: given addresses of one /64, then one network; of IPv4, each its own, however the socket writes it", () => {
  expect(["2001:db8:1:2::5", "2001:db8:1:2:ffff::1"].map(networkOfAddress)).toEqual(Array(2).fill("2001:db8:1:2::/64"));
  expect(networkOfAddress("2001:db8:1:3::5")).toBe("2001:db8:1:3::/64");
  expect(networkOfAddress("fe80::1%eth0")).toBe("fe80::/64");
  expect(["192.0.2.7", "::ffff:192.0.2.7", "::ffff:c000:207"].map(networkOfAddress)).toEqual(
    Array(3).fill("192.0.2.7"),
  );
  expect(networkOfAddress("")).toBe("");
});
