import { Fault } from "@dyetrace/wire";
import type { FastifyInstance, FastifyRequest } from "fastify";
import { networkOfAddress } from "../access/network-of.ts";

/** Bodies that are being read, of all requests together, and of one operator at one address. */
const MOST_BYTES = 64 * 1024 * 1024;
const MOST_OF_ONE_BYTES = 16 * 1024 * 1024;

/**
 * Bounds what the bodies of all requests take together: each alone is within its route's limit, and a thousand that come slowly
 * would not be. A body counts as long as its request lasts, by what it says of its length, or else by the most that it may have.
 */
export function boundBodies(app: FastifyInstance): void {
  const held = new Map<FastifyRequest, { readonly share: string; readonly bytes: number }>();
  const byShare = new Map<string, number>();
  let inAll = 0;
  const release = (request: FastifyRequest): void => {
    const mine = held.get(request);
    if (mine === undefined) return;
    held.delete(request);
    inAll -= mine.bytes;
    const left = (byShare.get(mine.share) ?? 0) - mine.bytes;
    if (left > 0) byShare.set(mine.share, left);
    else byShare.delete(mine.share);
  };
  app.addHook("preParsing", async (request) => {
    const { "content-length": length, "transfer-encoding": coding } = request.headers;
    if (length === undefined && coding === undefined) return; // it has none (RFC 9112, section 6.3)
    const most = request.routeOptions.bodyLimit ?? app.initialConfig.bodyLimit ?? 0;
    const said = coding === undefined ? Number(length) : Number.NaN;
    const bytes = Number.isFinite(said) ? Math.min(said, most) : most;
    const share =
      request.operator === null
        ? networkOfAddress(request.ip)
        : `${request.operator.name} ${networkOfAddress(request.ip)}`;
    const ofShare = byShare.get(share) ?? 0;
    if (inAll + bytes > MOST_BYTES || ofShare + bytes > MOST_OF_ONE_BYTES) {
      throw new Fault("TOO_MANY", "Too much is being sent to this controller at once", "Try again in a few seconds");
    }
    held.set(request, { share, bytes });
    byShare.set(share, ofShare + bytes);
    inAll += bytes;
  });
  app.addHook("onResponse", async (request) => release(request));
  app.addHook("onRequestAbort", async (request) => release(request));
}
