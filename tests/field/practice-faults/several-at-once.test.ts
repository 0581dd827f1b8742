import { describe, expect, test } from "vitest";
import { join, range } from "../group-traffic.ts";
import { faults, GROUP, onSite, round } from "../support/fault-site.ts";

describe.concurrent("practice faults: together", () => {
  test(
    "given two that change one setting, then the second is refused and the first stands on",
    onSite(async (site) => {
      const off = faults("snooping-off, on: edge");
      await site.inject(off);
      const second = [
        ...faults(`drop, on: "core:1>edge:24", group: ${GROUP}`),
        ...faults("table-size, on: edge, max: 100"),
      ];
      await expect(site.inject(second)).rejects.toMatchObject({
        code: "PRACTICE_FAULT_INVALID",
        message: expect.stringContaining("same setting"),
      });
      await expect(site.inject(off)).rejects.toMatchObject({ code: "PRACTICE_FAULT_INVALID" });
      await expect(site.lift(second)).rejects.toMatchObject({ code: "PRACTICE_FAULT_INVALID" });
      await using kiosk = await join(site, "kiosk", GROUP);
      expect(await round(site, [kiosk])).toEqual([range(20)]); // the drop, before it in the list, was not put in
      await site.lift(off);
    }),
  );

  test(
    "given one that the kernel refuses, then those before it in the list are taken out again",
    onSite(async (site) => {
      await site.exec("edge", ["ip", "link", "set", "p2", "name", "gone"]);
      const list = faults(`drop, on: "core:1>edge:24", group: ${GROUP}`, 'mtu, on: "edge:2", size: 1000 B');
      await expect(site.inject(list)).rejects.toMatchObject({
        code: "PRACTICE_FAILED",
        message: expect.stringMatching(/ip -n edge link set p2 mtu 1000.*Cannot find device/s),
      });
      await using kiosk = await join(site, "kiosk", GROUP);
      expect(await round(site, [kiosk])).toEqual([range(20)]);
    }),
  );
});
