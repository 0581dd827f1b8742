#!/bin/bash
# By hand, as root on Debian, and by `npm run pack:check`: the packages of `npm run pack` on hosts that have nothing but Debian's base.
# Three root folders (a controller, two hosts) at one bridge of this machine's kernel, in network namespaces of their own:
# installed, both hosts enrolled with one key, the main job run, upgraded, purged. Then the tarball that runs in place, as a plain
# user with no network at all. Needs debootstrap, lintian, iproute2. DYETRACE_BASE_ROOT names a debootstrap folder to start from,
# DYETRACE_PACKED a folder with v1 and v2 of an earlier check; KEEP=1 leaves everything in place.
set -euo pipefail
# The root folders have no such file, and Node.js would say so each time.
unset NODE_EXTRA_CA_CERTS
repository=$(cd "$(dirname "$0")/../.." && pwd)
work=$(mktemp -d /tmp/dyetrace-packages-XXXXXX)
mark=dtp$$
arch=$(dpkg --print-architecture)

# Whatever runs in the hosts' own networks.
stop_all() {
  for host in ctl east west; do ip netns pids "$mark-$host" 2>/dev/null | xargs -r kill 2>/dev/null || true; done
  sleep 2
}

stage=beginning
debootstrap=
end() {
  local status=$?
  [ -z "$debootstrap" ] || kill "$debootstrap" 2>/dev/null || true
  stop_all
  for host in sw ctl east west; do ip netns delete "$mark-$host" 2>/dev/null || true; done
  [ -n "${KEEP:-}" ] || rm -rf --one-file-system "$work"
  if [ "$status" = 0 ]; then echo "pack:check passed in $SECONDS s"; else echo "pack:check FAILED at: $stage ($SECONDS s)"; fi
}
trap end EXIT
say() { stage=$*; echo "== $* ($SECONDS s)"; }
fail() { echo "FAILED: $*" >&2; exit 1; }

# Fetched and unpacked while the packages are made.
base=${DYETRACE_BASE_ROOT:-$work/base}
debootstrap=
if [ ! -d "$base/etc" ]; then
  debootstrap --variant=minbase --include=adduser,libstdc++6,iproute2,nftables,procps bookworm "$base" >"$work/debootstrap" 2>&1 &
  debootstrap=$!
fi

say "packages, an earlier and a later version"
[ -z "${DYETRACE_PACKED:-}" ] || cp -a "$DYETRACE_PACKED"/v1 "$DYETRACE_PACKED"/v2 "$work/"
for build in 1 2; do
  [ -d "$work/v$build" ] || node "$repository/deploy/pack.mjs" --arch "$arch" --quick --build "$build" --out "$work/v$build" | sed "s#.*/##"
done

say "lintian: no errors"
lintian --tag-display-limit 0 "$work"/v2/*.deb >"$work/lintian" 2>&1 || true
if grep '^E:' "$work/lintian"; then fail "lintian"; fi
grep -c '^W:' "$work/lintian" | sed 's/$/ warnings/' || true

say "three fresh root folders"
if [ -n "$debootstrap" ]; then wait "$debootstrap" || { tail -3 "$work/debootstrap"; fail "debootstrap"; }; fi
for host in ctl east west; do cp -a "$base" "$work/$host"; done

# One switch that snoops and queries, three hosts.
ip netns add "$mark-sw"
ip -n "$mark-sw" link add br0 type bridge mcast_snooping 1
ip -n "$mark-sw" link set br0 up
ip -n "$mark-sw" link set br0 type bridge mcast_querier 1
number=1
for host in ctl east west; do
  ip netns add "$mark-$host"
  ip link add eth0 netns "$mark-$host" type veth peer name "$host" netns "$mark-sw"
  ip -n "$mark-sw" link set "$host" master br0 up
  ip -n "$mark-$host" addr add "10.77.0.$number/24" dev eth0
  ip -n "$mark-$host" link set eth0 up
  ip -n "$mark-$host" link set lo up
  number=$((number + 1))
done

# on HOST COMMAND...: in its root folder and its network
on() {
  local host=$1
  shift
  ip netns exec "$mark-$host" unshare --mount --pid --fork --kill-child sh -c \
    'mount -t proc proc "$1/proc" && mount --rbind /dev "$1/dev" && root=$1 && shift && exec chroot "$root" "$@"' sh "$work/$host" "$@"
}
# start HOST LOG COMMAND...: in the background
start() {
  local host=$1 log=$2
  shift 2
  on "$host" "$@" >"$work/$log" 2>&1 &
}
until_says() { # FILE WORDS
  for _ in $(seq 600); do grep -q "$2" "$work/$1" 2>/dev/null && return; sleep 0.2; done
  cat "$work/$1" >&2
  fail "nothing said $2"
}
files() { (cd "$work/$1" && find . -xdev \( -path ./proc -o -path ./dev -o -path ./sys -o -path ./tmp -o -path ./run/adduser -o -path './var/lib/dpkg*' -o -path './var/log*' -o -path './var/cache*' \) -prune -o -print | grep -v '/etc/\(passwd\|group\|shadow\|gshadow\|subuid\|subgid\)-$' | sort); }
install_packages() { # HOST VERSION PACKAGE...
  local host=$1 version=$2
  shift 2
  for name in "$@"; do cp "$work/v$version/${name}"_*.deb "$work/$host/tmp/"; done
  on "$host" sh -c 'dpkg -i /tmp/*.deb >/tmp/dpkg.log 2>&1 || { cat /tmp/dpkg.log; exit 1; }; rm /tmp/*.deb'
}

say "installed"
for host in ctl east west; do files "$host" >"$work/before-$host"; done
install_packages ctl 1 dyetrace-node dyetrace
for host in east west; do install_packages "$host" 1 dyetrace-node dyetrace-agent; done
on east dyetrace-agent --version
du -sk "$work/east/usr/lib/dyetrace-agent" "$work/east/usr/lib/dyetrace-node" "$work/ctl/usr/lib/dyetrace" | sed "s#$work/##"

serve() { start ctl "$1" setpriv --reuid dyetrace-controller --regid dyetrace-controller --clear-groups dyetrace controller --data /var/lib/dyetrace --listen 10.77.0.1:8472; }
run_agent() { start "$1" "$2" setpriv --reuid dyetrace --regid dyetrace --clear-groups --no-new-privs --bounding-set=-all,+net_raw --inh-caps=-all,+net_raw --ambient-caps=-all,+net_raw dyetrace-agent run --data /var/lib/dyetrace-agent; }
ask() { on ctl dyetrace "$@" --controller https://10.77.0.1:8472 --token-file /root/token --pin "$pin"; }

say "both hosts enrolled with one key"
serve controller-1
until_says controller-1 'sha256//'
pin=$(grep -o 'sha256//[A-Za-z0-9+/]*=' "$work/controller-1" | head -1)
on ctl sh -c 'umask 77; setpriv --reuid dyetrace-controller --regid dyetrace-controller --clear-groups dyetrace token add check --scope operate --data /var/lib/dyetrace >/root/token'
key=$(ask agents key --hosts 2 --json | sed -n 's/.*"key": "\(.*\)",/\1/p')
for host in east west; do
  echo "$key" | on "$host" dyetrace-agent-enrol --controller https://10.77.0.1:8472 --pin "$pin" --name "$host" | sed -n 1p
done
sed -i 's/^  allow-sending: false/  allow-sending: true/; s/^contact: ""/contact: the check of the packages/' "$work/east/etc/dyetrace/agent.yaml"
for host in east west; do run_agent "$host" "$host-1"; done

say "the main job"
cat >"$work/ctl/root/plan.yaml" <<PLAN
site: Two hosts at one switch
nodes:
  core: { kind: switch, querier: true }
  east: { kind: host }
  west: { kind: host }
links:
  - core:1 -- east:eth0
  - core:2 -- west:eth0
PLAN
# Whether it arrives is asked, not how evenly a busy machine sends: 475 packets decide 1 %.
cat >"$work/ctl/root/reach.yaml" <<SCENARIO
scenario: reach
streams:
  - { name: board, source: east, group: 239.195.10.4, rate: 500 kbit/s }
timeline:
  - { at: 0s, join: board, agents: all }
  - { at: 1s, emit: board }
  - { after: 10s, stop: board }
expect: { loss: 1 % }
SCENARIO
connected() { for _ in $(seq 100); do [ "$(ask agents list | grep -c ', connected')" = 2 ] && return; sleep 0.5; done; fail "not both agents are connected"; }
connected
ask run /root/reach.yaml --site /root/plan.yaml --json /root/report.json || fail "the main job ended with $?"
grep -q '"verdict": *"pass"' "$work/ctl/root/report.json" || fail "the verdict is not pass"

say "upgraded: settings, credentials and runs stay"
stop_all
install_packages ctl 2 dyetrace-node dyetrace
for host in east west; do install_packages "$host" 2 dyetrace-node dyetrace-agent; done
for host in east west; do on "$host" dpkg-query -W -f '${Package} ${Version}\n' dyetrace-agent; done
grep -q 'allow-sending: true' "$work/east/etc/dyetrace/agent.yaml" || fail "the host's own file was written over"
serve controller-2
until_says controller-2 'sha256//'
for host in east west; do run_agent "$host" "$host-2"; done
connected
ask runs | grep -q reach || fail "the run is gone"

say "idle after 20 s"
sleep 20
for host in east west; do
  pid=$(pgrep -f "dyetrace-agent.mjs run --data /var/lib/dyetrace-agent" --nslist net --ns "$(ip netns pids "$mark-$host" | head -1)" | tail -1)
  grep VmRSS "/proc/$pid/status"
done

say "purged: nothing left"
stop_all
on ctl sh -c 'rm -f /root/token /root/plan.yaml /root/reach.yaml /root/report.json; dpkg --purge dyetrace dyetrace-node' >/dev/null
for host in east west; do on "$host" dpkg --purge dyetrace-agent dyetrace-node >/dev/null; done
for host in ctl east west; do
  files "$host" >"$work/after-$host"
  diff "$work/before-$host" "$work/after-$host" || fail "something is left on $host"
  if grep dyetrace "$work/$host/etc/passwd" "$work/$host/etc/group"; then fail "a user is left on $host"; fi
done

say "the tarball, with no network and without root"
install -d -o 65534 -g 65534 "$work/offline"
tar -xzf "$work"/v2/dyetrace-*-linux-*.tar.gz -C "$work/offline" --no-same-owner
chmod 755 "$work"
demo=$work/offline/dyetrace/lib/packages/practice/demo
status=0
env -i PATH=/usr/sbin:/usr/bin:/sbin:/bin HOME="$work/offline" unshare --net sh -c \
  'ip link set lo up && cd "$HOME" && exec setpriv --reuid 65534 --regid 65534 --clear-groups "$@"' sh "$work/offline/dyetrace/bin/dyetrace" practice run "$demo/quillfen.yaml" "$demo/reach.yaml" \
  --fault "$demo/fault-pier-east.yaml" --data "$work/offline/data" >"$work/offline-says" 2>&1 || status=$?
[ "$status" = 1 ] && grep -q 'core:1>pier-east:24' "$work/offline-says" || { cat "$work/offline-says"; fail "the tarball ended with $status"; }
sed -n 1,3p "$work/offline-says"

say "the same commit gives the same bytes"
node "$repository/deploy/pack.mjs" --arch "$arch" --quick --build 2 --out "$work/again" >/dev/null
(cd "$work/v2" && sha256sum ./*.deb ./*.tar.gz) >"$work/sums"
(cd "$work/again" && sha256sum --quiet -c "$work/sums") || fail "other bytes"
say "arm64: built, and everything looked at that needs no such machine"
node "$repository/deploy/pack.mjs" --arch arm64 --quick --build 2 --out "$work/arm64" | sed "s#.*/##"
lintian --tag-display-limit 0 "$work"/arm64/*.deb >"$work/lintian-arm64" 2>&1 || true
if grep '^E:' "$work/lintian-arm64"; then fail "lintian"; fi
for package in dyetrace-node dyetrace-agent dyetrace; do
  deb=$(ls "$work/arm64/${package}"_*.deb)
  [ "$(dpkg-deb -f "$deb" Architecture)" = arm64 ] || fail "$package is not for arm64"
  dpkg-deb -x "$deb" "$work/arm64/root"
done
# e_machine of the ELF header, 2 octets from 18 on: 183 is EM_AARCH64 (ELF for the Arm 64-bit Architecture).
machine() { od -An -tu2 -j18 -N2 "$1" | tr -d ' '; }
binaries=$(find "$work/arm64/root" -type f \( -name node -o -name '*.node' \))
[ "$(echo "$binaries" | wc -l)" -ge 3 ] || fail "binaries are missing: $binaries"
for file in $binaries; do [ "$(machine "$file")" = 183 ] || fail "$file is for machine $(machine "$file")"; done
if command -v qemu-aarch64-static >/dev/null && [ "$arch" != arm64 ]; then
  unpacked="$work/arm64/root"
  qemu-aarch64-static -L "${DYETRACE_ARM64_ROOT:-/usr/aarch64-linux-gnu}" "$unpacked/usr/lib/dyetrace-node/node" \
    "$unpacked/usr/lib/dyetrace-agent/bin/dyetrace-agent.mjs" --version || fail "the arm64 agent does not start under qemu"
else
  echo "Not started: no qemu-aarch64-static here (Debian's qemu-user-static, and libc6 and libstdc++6 of arm64)"
fi
