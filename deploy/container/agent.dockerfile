# npm run pack:agent && docker build -f deploy/container/agent.dockerfile -t dyetrace-agent .
FROM node:22-bookworm-slim
RUN apt-get update && apt-get install -y --no-install-recommends libcap2-bin && rm -rf /var/lib/apt/lists/* \
  && useradd --system --no-create-home --home-dir /nonexistent --shell /usr/sbin/nologin dyetrace \
  && install -d -m 700 -o dyetrace -g dyetrace /var/lib/dyetrace-agent \
  # Of what the container may do, the agent's own user gets the one right that it needs.
  && setcap cap_net_raw+ep "$(command -v node)"
ADD deploy/agent/dist/dyetrace-agent.tgz /opt/
USER dyetrace
VOLUME /var/lib/dyetrace-agent
ENTRYPOINT ["node", "/opt/dyetrace-agent/bin/dyetrace-agent.mjs"]
CMD ["run", "--data", "/var/lib/dyetrace-agent"]
