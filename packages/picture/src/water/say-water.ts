import { formatRatio } from "@dyetrace/wire";
import type { ChannelWater } from "./channel-water.ts";
import type { HostWater, Thins } from "./host-water.ts";
import { LOSS_CLASS_WORDS } from "./loss-shape.ts";

/** What reached a host, in a few words. */
export function describeHostWater(host: HostWater): string {
  switch (host.kind) {
    case "source":
      return "source";
    case "silent-source":
      return "source, sent nothing";
    case "whole":
      return "no loss";
    case "thins":
      return `${sayLoss(host)}${host.isInterrupted ? ", in outages" : ""}${host.isHostsOwn ? ", in the host itself" : ""}`;
    case "some":
      return "receives, not all of it is known";
    case "dry":
      return "joined, nothing came";
    case "blocked":
      return "came to the network card, not to the program";
    case "waiting":
      return "joined, nothing due now";
    case "not-reported":
      return "not reported";
    case "unknown":
      return "unknown";
    case "apart":
      return "not joined, saw nothing";
    case "uninvited":
      return host.isByDesign ? "not joined, gets copies by the site's build" : "not joined, yet frames came";
  }
}

/** `11.8 % lost`, as measured; `10 % or more lost` where only so much was told. */
export const sayLoss = ({ lossRatio, lossClass }: Pick<Thins, "lossRatio" | "lossClass">): string =>
  `${lossRatio === null ? LOSS_CLASS_WORDS[lossClass] : formatRatio(lossRatio)} lost`;

/** What is in a channel, in a few words. */
export function describeChannel(water: ChannelWater): string {
  switch (water) {
    case "closed":
      return "no listener behind it";
    case "still":
      return "nothing due now";
    case "flows":
      return "flows";
    case "thins":
      return "flows, and all behind it miss some";
    case "breaks":
      return "flows but for outages, which all behind it have";
    case "dry":
      return "dry: nothing reaches anyone behind it";
    case "seeps":
      return "frames come this way that nobody asked for";
    case "unknown":
      return "unknown";
  }
}
