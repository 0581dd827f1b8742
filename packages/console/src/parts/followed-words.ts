import { formatCount } from "@dyetrace/wire";
import type { LiveFigures } from "@dyetrace/wire/console/live-second";

/** Where the run itself has not joined and follows all the same. */
export const OF_HOST_WORDS = "a program of its own has joined; followed at the network card";

/** Packets that did not come; of some streams the least that it can be. */
export const sayLost = ({ lost, isLostAtLeast }: Pick<LiveFigures, "lost" | "isLostAtLeast">): string =>
  `${isLostAtLeast === true && lost > 0 ? "at least " : ""}${formatCount(lost)}`;
