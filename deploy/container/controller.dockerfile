# docker build -f deploy/container/controller.dockerfile -t dyetrace-controller .
# Node.js 22.16 and later has SQLite built in: no compiler.
FROM node:22-bookworm-slim AS build
WORKDIR /opt/dyetrace
COPY . .
RUN npm run setup && npm run pack:agent && npm prune --omit=dev

FROM node:22-bookworm-slim
RUN useradd --system --no-create-home --home-dir /nonexistent --shell /usr/sbin/nologin dyetrace-controller \
  && install -d -m 700 -o dyetrace-controller -g dyetrace-controller /var/lib/dyetrace
COPY --from=build /opt/dyetrace /opt/dyetrace
USER dyetrace-controller
VOLUME /var/lib/dyetrace
EXPOSE 8472
# 0.0.0.0 is not loopback: TLS and sign-in are on.
ENTRYPOINT ["node", "/opt/dyetrace/controller/bin/dyetrace.mjs"]
CMD ["controller", "--data", "/var/lib/dyetrace", "--listen", "0.0.0.0:8472"]
