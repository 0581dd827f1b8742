/** What the tests use of the npm package rtp-packet, which brings no types. */
declare module "rtp-packet" {
  export function serialize(packet: {
    readonly payloadType: number;
    readonly sequenceNumber: number;
    readonly timestamp: number;
    readonly ssrc: number;
    readonly marker?: boolean;
    /** Sets the bit; the count of padding bytes is the payload's last byte. */
    readonly padding?: boolean;
    readonly csrc?: readonly number[];
    readonly extensions?: Readonly<Record<number, Uint8Array>>;
    readonly payload: Uint8Array;
  }): Uint8Array;
}
