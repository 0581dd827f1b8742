/** Media that a coder of Debian's ffmpeg package sends, small in picture and rate, so that a dozen of them run side by side. */

export const PORT = 5004;
/** Packets a second of each, about: all streams are alike in what a second tells of them. */
export const PACKETS_PER_SECOND = 60;

const PICTURE = ["-re", "-f", "lavfi", "-i", "testsrc2=size=160x120:rate=25"];
const SOUND = ["-re", "-f", "lavfi", "-i", "sine=frequency=440:sample_rate=48000"];
const NOISE = ["-re", "-f", "lavfi", "-i", "anoisesrc=sample_rate=16000:color=pink"];
const VIDEO = ["-c:v", "mpeg2video", "-b:v", "300k"];
const AUDIO = ["-c:a", "mp2", "-b:a", "64k"];
/** A byte a sample, 8,000 a second (RFC 3551, PCMU): of mp2, several frames a packet, too few would leave to tell 1 %. */
const VOICE = ["-c:a", "pcm_mulaw", "-ar", "8000", "-ac", "1"];
const VOICE_BYTES = 12 + Math.round(8000 / PACKETS_PER_SECOND);
/** Datagrams of 7 packets of 188 bytes at a constant rate, with null packets between (ISO/IEC 13818-1). */
const MUX_RATE_BPS = PACKETS_PER_SECOND * 1316 * 8;
export const SSRCS = [1111, 2222];

const FORMATS = {
  "RTP, two SSRCs": (at) => [
    ...[...PICTURE, ...SOUND],
    ...["-map", "0:v", ...VIDEO, "-ssrc", String(SSRCS[0]), "-f", "rtp", `rtp://${at}?pkt_size=600&ttl=8`],
    ...["-map", "1:a", ...VOICE, "-ssrc", String(SSRCS[1])],
    ...["-f", "rtp", `rtp://${at}?pkt_size=${VOICE_BYTES}&ttl=8`],
  ],
  "MPEG-TS": (at) => [
    ...[...PICTURE, ...SOUND, ...VIDEO, ...AUDIO, "-muxrate", String(MUX_RATE_BPS)],
    ...["-f", "mpegts", `udp://${at}?pkt_size=1316&ttl=8`],
  ],
  "MPEG-TS in RTP": (at) => [
    ...[...PICTURE, ...SOUND, ...VIDEO, ...AUDIO, "-mpegts_muxer_options", `muxrate=${MUX_RATE_BPS}`],
    ...["-f", "rtp_mpegts", `rtp://${at}?pkt_size=1328&ttl=8`],
  ],
  // 16,000 samples of two bytes a second and no header at all: nobody who is not told knows what it is.
  "undocumented UDP": (at) => [
    ...[...NOISE, "-f", "s16le"],
    `udp://${at}?pkt_size=${Math.round(32_000 / PACKETS_PER_SECOND / 2) * 2}&ttl=8`,
  ],
};

/** The families of groups: 239/8 of RFC 2365, 232/8 of RFC 4607, ff15 of RFC 4291. */
export const FAMILIES = {
  IPv4: (number) => `239.196.5.${number}`,
  "IPv4 SSM": (number) => `232.196.5.${number}`,
  IPv6: (number) => `ff15::8000:5${String(number).padStart(2, "0")}`,
};

/** Every format to a group of every family: name in a scenario, group, what ffmpeg is told. */
export const MEDIA = Object.entries(FORMATS).flatMap(([format, argvTo], row) =>
  Object.entries(FAMILIES).map(([family, groupOf], column) => {
    const number = row * Object.keys(FAMILIES).length + column + 1;
    const group = groupOf(number);
    const at = `${group.includes(":") ? `[${group}]` : group}:${PORT}`;
    const argv = ["ffmpeg", "-nostdin", "-loglevel", "error", ...argvTo(at)];
    return { name: `media-${number}`, format, family, group, argv };
  }),
);
