import { formatRatio } from "@dyetrace/wire";
import type { ChannelWater } from "./channel-water.ts";
import type { HostWater } from "./host-water.ts";

/** What reached a host, in a few words. */
export function describeHostWater(host: HostWater): string {
  switch (host.kind) {
    case "source":
      return "source";
    case "whole":
      return "no loss";
    case "thins":
      return `${formatRatio(host.lossRatio)} lost`;
    case "some":
      return "receives, not all of it is known";
    case "dry":
      return "joined, nothing came";
    case "waiting":
      return "joined, nothing due";
    case "unknown":
      return "unknown";
    case "apart":
      return "not joined, saw nothing";
    case "uninvited":
      return host.isByDesign ? "not joined, gets copies by the site's build" : "not joined, yet frames came";
  }
}

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
    case "dry":
      return "dry: nothing reaches anyone behind it";
    case "seeps":
      return "frames come this way that nobody asked for";
    case "unknown":
      return "unknown";
  }
}
