import type { PortRef } from "../model/site-model.ts";

/** As plans write the end of a link. */
export const portText = ({ node, port }: PortRef): string => `${node}:${port}`;
