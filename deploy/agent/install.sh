#!/bin/sh
# Brings the dyetrace agent onto this host and enrols it. Comes from a controller, which has written its address, the
# pin of its certificate and the checksum of the package into it; the pasted line checked the same pin.
#   echo KEY | sh -c "$s" dyetrace [--name NAME] [--interface IFACE]
# The key comes in by standard input: what stands on a command line, every user of the host can read in the list of processes.
set -eu
url='@URL@'
pin='@PIN@'
sha256='@SHA256@'
version='@VERSION@'

program=/opt/dyetrace-agent
data=/var/lib/dyetrace-agent
config=/etc/dyetrace/agent.yaml
user=dyetrace
# Root writes these, so they lie where root alone can: in the agent's own folder its user could lay a link in their place.
pidfile=/run/dyetrace-agent.pid
log=/var/log/dyetrace-agent.log

fail() {
  echo "dyetrace: $*" >&2
  exit 1
}
has() { command -v "$1" >/dev/null 2>&1; }

key=
read -r key || true
[ -n "$key" ] || fail "there is no key; copy the whole line from the controller"
name=$(uname -n | cut -d. -f1)
interface=
while [ $# -gt 0 ]; do
  case "$1" in
    --name) name="$2" ;;
    --interface) interface="$2" ;;
    *) fail "what is $1? The line takes --name and --interface" ;;
  esac
  shift 2
done

[ "$(id -u)" = 0 ] || fail "this must be run by root: paste the line into a root shell, or install sudo"
for tool in curl tar sha256sum setpriv; do
  has "$tool" || fail "$tool is missing; on Debian: apt-get install curl tar coreutils util-linux"
done
has node || fail "Node.js is missing. The agent needs version 20 or later; on Debian 13: apt-get install nodejs"
major=$(node -p 'process.versions.node.split(".")[0]')
[ "$major" -ge 20 ] || fail "the agent needs Node.js 20 or later; this host has $(node --version)"

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
if [ -n "$pin" ]; then
  curl -fsSk --pinnedpubkey "$pin" -o "$work/agent.tgz" "$url/agent/package.tgz"
else
  curl -fsS -o "$work/agent.tgz" "$url/agent/package.tgz"
fi
echo "$sha256  $work/agent.tgz" | sha256sum -c --quiet - || fail "the package is not the one that the controller announced"

mkdir -p "$program"
rm -rf "$program/new"
mkdir "$program/new"
tar -xzf "$work/agent.tgz" -C "$program/new" --strip-components=1 --no-same-owner
rm -rf "$program/old"
[ ! -d "$program/agent" ] || mv "$program/agent" "$program/old"
mv "$program/new" "$program/agent"
rm -rf "$program/old"
chmod 755 "$program" "$program/agent"
# The agent's own user reads the program and never writes it. Worker threads need its modules too.
chmod -R u=rwX,go=rX "$program/agent"

if ! id "$user" >/dev/null 2>&1; then
  if has useradd; then
    useradd --system --no-create-home --home-dir /nonexistent --shell /usr/sbin/nologin "$user"
  elif has adduser; then
    adduser -S -D -H -h /nonexistent -s /sbin/nologin "$user"
  else
    fail "neither useradd nor adduser is here to make the user $user"
  fi
fi
group=$(id -gn "$user")
mkdir -p "$data"
rm -rf "$data/program" # a program that a controller sent earlier would go before this one
chown "$user:$group" "$data"
chmod 700 "$data"

mkdir -p "$(dirname "$config")"
if [ ! -e "$config" ]; then
  cp "$program/agent/deploy/agent.yaml" "$config"
  [ -z "$interface" ] || echo "interface: $interface" >>"$config"
  chmod 644 "$config"
elif [ -n "$interface" ]; then
  sed -i '/^interface:/d' "$config"
  echo "interface: $interface" >>"$config"
fi

# As the agent's user and with no rights at all, so that the credential is that user's from the start.
DYETRACE_KEY="$key" setpriv --reuid "$user" --regid "$group" --clear-groups --inh-caps=-all --no-new-privs \
  node "$program/agent/bin/dyetrace-agent.mjs" enrol --controller "$url" --pin "$pin" --name "$name" --data "$data"

if [ -d /run/systemd/system ]; then
  cp "$program/agent/deploy/dyetrace-agent.service" /etc/systemd/system/dyetrace-agent.service
  systemctl daemon-reload
  systemctl enable dyetrace-agent.service
  systemctl restart dyetrace-agent.service
  echo "dyetrace agent $version runs as the service dyetrace-agent, under the user $user."
else
  runner="$program/agent/deploy/run-without-systemd.sh"
  old=$(cat "$pidfile" 2>/dev/null || true)
  # The number may be another program's by now.
  if [ -n "$old" ] && grep -qa "$runner" "/proc/$old/cmdline" 2>/dev/null; then kill "$old"; fi
  setsid "$runner" </dev/null >>"$log" 2>&1 &
  echo "$!" >"$pidfile"
  echo "dyetrace agent $version runs under the user $user. There is no systemd here: have your init system run"
  echo "  $runner"
  echo "at boot; what it says is in $log."
fi
echo "It listens at once. It sends only when this host's own file allows it: $config"
