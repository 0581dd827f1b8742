# /usr/bin/python3 ts-reader.py FILE: reads UDP datagrams from a pcap with scapy (python3-scapy of Debian) and works out what a transport
# stream's headers tell, by the formulas of ISO/IEC 13818-1 as they stand there; a line of JSON. It shares nothing with the agent's reader.
import json
import sys

from scapy.utils import RawPcapReader

HEADERS = 14 + 20 + 8  # Ethernet, IPv4, UDP
counters, repeats, errors, missing = {}, {}, 0, 0
packets, nulls, programs = 0, 0, {}
seen = {"pat": [], "pmt": {}, "pcr": {}}

for data, about in RawPcapReader(sys.argv[1]):
    at_ns = about.sec * 10**9 + about.usec  # a file with nanoseconds says so in its magic number, and scapy then gives them here
    payload = data[HEADERS:]
    for begin in range(0, len(payload), 188):
        packet = payload[begin : begin + 188]
        packets += 1
        start = bool(packet[1] & 0x40)
        pid = (packet[1] & 0x1F) << 8 | packet[2]
        control, counter = packet[3] >> 4 & 3, packet[3] & 15
        if pid == 0x1FFF:
            nulls += 1
            continue
        field = packet[5 : 5 + packet[4]] if control & 2 else b""
        body = packet[4 + (1 + packet[4] if control & 2 else 0) :] if control & 1 else b""
        # 2.4.3.3: goes up with each packet that has a payload, modulo 16; a packet may be sent twice, not more.
        if pid in counters and not (field and field[0] & 0x80):
            expected = (counters[pid] + (1 if control & 1 else 0)) % 16
            if counter != expected:
                errors += 1
                missing += (counter - expected) % 16
        counters[pid] = counter
        # 2.4.3.5, 2-1 to 2-3: PCR = PCR_base * 300 + PCR_ext, in periods of 27 MHz
        if len(field) >= 7 and field[0] & 0x10:
            bits = int.from_bytes(field[1:7], "big")
            seen["pcr"].setdefault(pid, []).append((at_ns, (bits >> 15) * 300 + (bits & 0x1FF)))
        if not start or not body:
            continue
        section = body[1 + body[0] :]
        if pid == 0 and section[0] == 0:  # 2.4.4.3
            seen["pat"].append(at_ns)
            length = (section[1] & 0x0F) << 8 | section[2]
            entries = section[8 : 3 + length - 4]
            for i in range(0, len(entries), 4):
                number, map_pid = int.from_bytes(entries[i : i + 2], "big"), int.from_bytes(entries[i + 2 : i + 4], "big") & 0x1FFF
                if number:
                    programs[map_pid] = number
        elif pid in programs and section[0] == 2:  # 2.4.4.8
            seen["pmt"].setdefault(pid, []).append(at_ns)

steps = lambda times: [b - a for a, b in zip(times, times[1:])]
pcr_steps = [step for all in seen["pcr"].values() for step in steps([at for at, _ in all])]
swings = []
for all in seen["pcr"].values():
    # How far each arrival lies from where its clock reference says, both counted from the first.
    late = [(at - all[0][0]) - (ticks - all[0][1]) * 1e9 / 27e6 for at, ticks in all[1:]]
    swings.append(max(late) - min(late))
print(
    json.dumps(
        {
            "packets": packets,
            "nullPackets": nulls,
            "continuityErrors": errors,
            "missingAtLeast": missing,
            "programs": len(programs),
            "pats": len(seen["pat"]),
            "patLongestNs": max(steps(seen["pat"])),
            # ETSI TR 101 290, table 5.0a: 1.3 and 1.5, 500 ms; 5.0b: 2.3a, 100 ms (from memory)
            "patOverdue": sum(step > 500e6 for step in steps(seen["pat"])),
            "pmts": sum(map(len, seen["pmt"].values())),
            "pmtLongestNs": max(step for all in seen["pmt"].values() for step in steps(all)),
            "pmtOverdue": sum(step > 500e6 for all in seen["pmt"].values() for step in steps(all)),
            "pcrs": sum(map(len, seen["pcr"].values())),
            "pcrLongestNs": max(pcr_steps),
            "pcrOverdue": sum(step > 100e6 for step in pcr_steps),
            "pcrJitterNs": max(swings),
        }
    )
)
