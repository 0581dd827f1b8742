# Reads a capture with scapy (python3-scapy of Debian) and prints a line of JSON for each frame: what its own layers say.
import json
import sys

from scapy.layers.dot11 import RadioTap
from scapy.layers.inet import IP
from scapy.utils import PcapReader

for packet in PcapReader(sys.argv[1]):
    radio = packet[RadioTap]
    frame = radio.payload
    field = lambda name: None if getattr(radio, name, None) is None else int(getattr(radio, name))
    vht = radio.mcs_nss[0] if radio.present.VHT else None
    print(
        json.dumps(
            {
                "timeUs": round(float(packet.time) * 1e6),
                "timer": field("mac_timestamp"),
                "mhz": field("ChannelFrequency"),
                "rate": float(radio.Rate) if radio.present.Rate else None,
                "mcs": field("MCS_index") if radio.present.MCS else None,
                "width": field("MCS_bandwidth") if radio.present.MCS else None,
                "short": field("guard_interval") if radio.present.MCS else None,
                "aggregate": field("A_MPDU_ref") if radio.present.A_MPDU else None,
                "vht": vht,
                "vhtWidth": field("VHT_bandwidth") if radio.present.VHT else None,
                "he": [field("he_data%d" % word) for word in range(1, 7)] if radio.present.HE else None,
                "type": int(frame.type),
                "subtype": int(frame.subtype),
                "to": bool(frame.FCfield & 1),
                "retry": bool(frame.FCfield & 8),
                "encrypted": bool(frame.FCfield & 0x40),
                "receiver": frame.addr1,
                "bytes": len(packet) - radio.len,
                "group": packet[IP].dst if packet.haslayer(IP) else None,
            }
        )
    )
