import type { FastifyInstance } from "fastify";
import { pino } from "pino";
import { expect, test } from "vitest";
import { startController } from "../../controller/src/service/controller-service.ts";

/** A guesser with a whole /64 of IPv6 has the share of one address, and whoever comes from another network has a share of his own. */
test("brakes at the door: given tries that come from ever new addresses of one /64, then they are braked as those of one address; from the next /64 nobody is", async () => {
  let app: FastifyInstance | undefined;
  const log = pino({ level: "silent" });
  await using _controller = await startController({ host: "127.0.0.1", port: 0, isSignInNeeded: true, log }, (one) => {
    app = one;
  });
  const tries = {
    token: { method: "GET", url: "/api/session", headers: { authorization: "Bearer wrong" } },
    password: { method: "POST", url: "/api/sign-in", payload: { name: "anna", password: "a guess" } },
    enrolment: { method: "POST", url: "/agent/enrol", payload: { key: "enrol-0.0", name: "kiosk" } },
  } as const;
  const statusFrom = async (what: keyof typeof tries, remoteAddress: string): Promise<number | undefined> =>
    (await app?.inject({ ...tries[what], remoteAddress }))?.statusCode;
  for (const [what, most] of [["token", 10] as const, ["password", 10] as const, ["enrolment", 60] as const]) {
    const met: (number | undefined)[] = [];
    for (let i = 0; i < most + 3; i++) met.push(await statusFrom(what, `2001:db8:1:2::${(i + 1).toString(16)}`));
    expect([what, met.indexOf(429), met.slice(most)]).toEqual([what, most, [429, 429, 429]]);
    expect([what, await statusFrom(what, "2001:db8:1:3::1")]).not.toEqual([what, 429]);
    expect([what, await statusFrom(what, "::ffff:192.0.2.7")]).not.toEqual([what, 429]);
  }
});
