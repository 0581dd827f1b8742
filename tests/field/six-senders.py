# /usr/bin/python3 six-senders.py send INTERFACE ADDRESS SENDERS | join INTERFACE ADDRESS GROUPS
# Plain sockets, none of the agent's code. SENDERS and GROUPS are JSON. Goes on until it is stopped.
import json, os, socket, struct, sys, time

what, interface, address, text = sys.argv[1:5]
index = socket.if_nametoindex(interface)


def opened(group, ttl, dscp):
    if ":" in group:
        one = socket.socket(socket.AF_INET6, socket.SOCK_DGRAM)
        one.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_MULTICAST_IF, index)
        one.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_MULTICAST_HOPS, ttl)
        one.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_TCLASS, dscp << 2)
    else:
        one = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        one.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton(address))
        one.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_TTL, ttl)
        one.setsockopt(socket.IPPROTO_IP, socket.IP_TOS, dscp << 2)
    return one


def ts(number, count):  # ISO/IEC 13818-1: sync byte, PID 0x100, continuity counter
    head = lambda i: struct.pack(">BHB", 0x47, 0x0100, 0x10 | ((number * count + i) & 15))
    return b"".join(head(i) + os.urandom(184) for i in range(count))


def rtp(number, ssrc, payload):  # RFC 3550 section 5.1
    return struct.pack(">BBHII", 0x80, 96, number & 0xFFFF, number * 3000, ssrc) + payload


def payload(kind, number, size):
    if kind == "rtp":
        return rtp(number, 0x1234, os.urandom(size - 12))
    if kind == "ts":
        return ts(number, size // 188)
    if kind == "rtp-ts":
        return rtp(number, 0x9ABC, ts(number, (size - 12) // 188))
    return b"\x01" + os.urandom(size - 1)


if what == "join":
    held = []
    for group in json.loads(text):
        if ":" in group:
            one = socket.socket(socket.AF_INET6, socket.SOCK_DGRAM)
            one.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_JOIN_GROUP, socket.inet_pton(socket.AF_INET6, group) + struct.pack("@I", index))
        else:
            one = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
            one.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, socket.inet_aton(group) + socket.inet_aton(address))
        held.append(one)
    print("ready", flush=True)
    while True:
        time.sleep(1)

senders = json.loads(text)
for one in senders:
    one["socket"] = opened(one["group"], one["ttl"], one["dscp"])
    one["number"] = 0
print("ready", flush=True)
began = time.monotonic()
while True:
    now = time.monotonic() - began
    for one in senders:
        while one["number"] <= now * one["perSecond"]:
            bytes_ = payload(one["kind"], one["number"], one["bytes"])
            one["socket"].sendto(bytes_, (one["group"], one["port"]))
            one["number"] += 1
    time.sleep(0.005)
