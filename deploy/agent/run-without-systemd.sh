#!/bin/sh
# Runs the agent where there is no systemd: as its own user, with CAP_NET_RAW and nothing else, again whenever it ends
# unless its controller will not have it (2).
set -u
user=dyetrace
group=$(id -gn "$user")
agent=
trap '[ -z "$agent" ] || kill "$agent"; exit 0' TERM INT
while :; do
  setpriv --reuid "$user" --regid "$group" --clear-groups --no-new-privs \
    --bounding-set=-all,+net_raw --inh-caps=-all,+net_raw --ambient-caps=-all,+net_raw \
    node /opt/dyetrace-agent/agent/bin/dyetrace-agent.mjs run --data /var/lib/dyetrace-agent &
  agent=$!
  wait "$agent"
  status=$?
  agent=
  [ "$status" -ne 2 ] || exit 2
  [ "$status" -eq 86 ] || sleep 5 # 86: it was upgraded
done
