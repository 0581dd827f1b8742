# /usr/bin/python3 capture-reader.py FILE: reads a pcapng with scapy (python3-scapy of Debian); a line of JSON for each packet.
import json
import struct
import sys

from scapy.layers.l2 import Ether
from scapy.layers.inet import IP, UDP
from scapy.utils import RawPcapNgReader


class Reader(RawPcapNgReader):
    interface = None

    def __init__(self, *args, **named):
        self.names = []
        super().__init__(*args, **named)

    def _read_block_idb(self, block, size):
        options, name = block[8:], None
        while len(options) >= 4:
            code, length = struct.unpack(self.endian + "HH", options[:4])
            if code == 2:  # if_name
                name = options[4 : 4 + length].decode()
            options = options[4 + length + -length % 4 :]
        self.names.append(name)
        return super()._read_block_idb(block, size)

    def _read_block_epb(self, block, size):
        self.interface = struct.unpack(self.endian + "I", block[:4])[0]
        return super()._read_block_epb(block, size)


reader = Reader(sys.argv[1])
while True:
    try:
        data, about = reader._read_packet()
    except EOFError:
        break
    packet = Ether(data)
    payload = bytes(packet[UDP].payload) if UDP in packet else b""
    print(
        json.dumps(
            {
                "interface": reader.names[reader.interface],
                "timeNs": str(((about.tshigh << 32) + about.tslow) * (1000000000 // about.tsresol)),
                "wire": about.wirelen,
                "kept": len(data),
                "type": packet.type,
                "protocol": packet[IP].proto if IP in packet else None,
                "group": packet[IP].dst if IP in packet else None,
                "port": packet[UDP].dport if UDP in packet else None,
                "payload": payload.hex(),
            }
        )
    )
