import { describe, expect, test } from "vitest";
import { countFrames, join, range, send } from "../group-traffic.ts";
import { ageOut, eventually, faults, GROUP, onSite, receivesBeyond, round } from "../support/fault-site.ts";

describe.concurrent("practice faults: hosts", () => {
  test(
    "host-firewall: given UDP blocked, then frames reach the wire and no socket; lifted, the socket too",
    onSite(async (site) => {
      const kiosk = await join(site, "kiosk", GROUP);
      const frames = await countFrames(site, "kiosk", `ip daddr ${GROUP}`);
      const block = faults("host-firewall, on: kiosk, block: udp");
      await site.inject(block);
      expect(await round(site, [kiosk])).toEqual([[]]);
      expect(await frames()).toBe(20);
      await site.lift(block);
      expect(await round(site, [kiosk])).toEqual([range(20)]);
    }),
  );

  test(
    "host-firewall: given IGMP blocked, then queries reach the wire unanswered and the stream ages out; lifted, it is back",
    onSite(async (site) => {
      const kiosk = await join(site, "kiosk", GROUP);
      const queries = await countFrames(site, "kiosk", "igmp type 0x11");
      const block = faults("host-firewall, on: kiosk, block: igmp");
      await ageOut(site, block, new Map([[GROUP, kiosk]]));
      const [last, heard] = [kiosk.seqs.at(-1) ?? 0, await queries()];
      await eventually(async () => expect(await queries()).toBeGreaterThan(heard));
      expect(kiosk.seqs.at(-1)).toBe(last);
      await site.lift(block);
      await receivesBeyond(kiosk, last);
    }),
  );

  test(
    "reverse-path: given one source, then its packets stop at the host and the kernel counts them; another's do not",
    onSite(async (site) => {
      const kiosk = await join(site, "kiosk", GROUP);
      const frames = await countFrames(site, "kiosk", `ip daddr ${GROUP}`);
      const refused = async (): Promise<number> => {
        const [names = "", values = ""] = (
          await site.exec("kiosk", ["grep", "^TcpExt", "/proc/net/netstat"])
        ).stdout.split("\n");
        return Number(values.split(" ")[names.split(" ").indexOf("IPReversePathFilter")]);
      };
      const reverse = faults("reverse-path, on: kiosk, source: tower");
      await site.inject(reverse);
      expect(await round(site, [kiosk])).toEqual([[]]);
      expect(await frames()).toBe(20);
      expect(await refused()).toBeGreaterThanOrEqual(20);
      await send(site, "office", { group: GROUP, packets: 10 });
      expect(kiosk.seqs).toEqual(range(10));
      await site.lift(reverse);
      expect(await round(site, [kiosk])).toEqual([range(20)]);
    }),
  );
});
