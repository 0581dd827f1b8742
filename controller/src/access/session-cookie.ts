import type { FastifyReply, FastifyRequest } from "fastify";

/** A browser keeps a `__Host-` cookie to this very host and to TLS, whoever else may set cookies (RFC 6265bis 4.1.3.2). */
const cookieName = (isTls: boolean): string => `${isTls ? "__Host-" : ""}dyetrace-session`;
/** Scripts cannot read it, other sites cannot make a browser send it, and it never travels in clear. */
const attributesOf = (isTls: boolean) => ({ path: "/", httpOnly: true, sameSite: "strict", secure: isTls }) as const;

export function giveSessionCookie(reply: FastifyReply, secret: string): void {
  const isTls = reply.request.protocol === "https";
  reply.setCookie(cookieName(isTls), secret, attributesOf(isTls));
}

export function takeSessionCookie(reply: FastifyReply): void {
  const isTls = reply.request.protocol === "https";
  reply.clearCookie(cookieName(isTls), attributesOf(isTls));
}

export interface SessionSecret {
  readonly text: string;
  /** A browser sends it by itself, whoever made it ask. */
  readonly isCookie: boolean;
}

/** What a request says to be signed in: a program sends a bearer token (RFC 6750), which counts first, a browser a cookie. */
export function sessionSecrets({
  headers,
  cookies,
  protocol,
}: Pick<FastifyRequest, "headers" | "cookies" | "protocol">): readonly SessionSecret[] {
  const bearer = /^Bearer +([A-Za-z0-9_-]{1,256})$/i.exec(headers.authorization ?? "")?.[1];
  const cookie = cookies[cookieName(protocol === "https")];
  return [
    ...(bearer === undefined ? [] : [{ text: bearer, isCookie: false }]),
    ...(cookie === undefined ? [] : [{ text: cookie, isCookie: true }]),
  ];
}
