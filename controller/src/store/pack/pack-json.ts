import { deflateRawSync, inflateRawSync } from "node:zlib";

/** JSON, deflated: an interval report shrinks to a fifth or less. Fast rather than small: it is done for every report. */
export const packJson = (value: unknown): Uint8Array => deflateRawSync(JSON.stringify(value), { level: 1 });

export const unpackJson = (bytes: Uint8Array): unknown => JSON.parse(inflateRawSync(bytes).toString("utf8"));
