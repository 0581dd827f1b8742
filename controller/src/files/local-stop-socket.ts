import path from "node:path";

/** In the controller's data folder, while it runs: where its owner can stop runs. */
export const localStopSocket = (dataFolder: string): string => path.join(dataFolder, "stop.sock");
