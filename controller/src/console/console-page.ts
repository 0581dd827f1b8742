import { existsSync } from "node:fs";
import path from "node:path";
import { fileURLToPath } from "node:url";
import fastifyStatic from "@fastify/static";
import type { FastifyInstance } from "fastify";

/** Everything comes from this controller and nothing runs that it did not send. */
export const CONTENT_SECURITY_POLICY: string = [
  "default-src 'none'",
  "script-src 'self'",
  "style-src 'self'",
  "img-src 'self' data:",
  "font-src 'self'",
  "connect-src 'self'",
  "worker-src 'self'",
  "manifest-src 'self'",
  "base-uri 'none'",
  "form-action 'none'",
  "frame-ancestors 'none'",
].join("; ");

/** Serves the built console at `/`; without a build, one sentence that says how to make it. */
export function registerConsolePage(app: FastifyInstance): void {
  const root = builtPage();
  app.addHook("onSend", async (_request, reply) => {
    // A picture with styles of its own has a policy of its own.
    const policy = reply.getHeader("content-security-policy") ?? CONTENT_SECURITY_POLICY;
    reply.headers({
      "content-security-policy": policy,
      "x-content-type-options": "nosniff",
      "referrer-policy": "no-referrer",
      "cross-origin-opener-policy": "same-origin",
      "cross-origin-resource-policy": "same-origin",
    });
  });
  if (root === null) {
    app.get("/", { schema: { hide: true } }, (_request, reply) =>
      reply.type("text/plain; charset=utf-8").send("The console is not built: run `npm run build` once.\n"),
    );
    return;
  }
  app.register(fastifyStatic, {
    root,
    setHeaders: (reply, file) => {
      // Names of files in assets/ carry a hash of their content, so they never change; index.html names them.
      const isHashed = file.includes(`${path.sep}assets${path.sep}`);
      reply.header("cache-control", isHashed ? "public, max-age=31536000, immutable" : "no-cache");
    },
    cacheControl: false,
    preCompressed: true,
  });
}

function builtPage(): string | null {
  const index = path.join(
    path.dirname(fileURLToPath(import.meta.resolve("@dyetrace/console/package.json"))),
    "dist",
    "page",
    "index.html",
  );
  return existsSync(index) ? path.dirname(index) : null;
}
