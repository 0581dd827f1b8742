/**
 * A classic BPF program as a list of lines (linux/filter.h, linux/bpf_common.h). A string is a label for the line after
 * it. `jeq` and `jset` take two labels; null means the next line.
 */
export type BpfLine =
  | string
  | readonly ["ldb" | "ldh" | "ldw" | "ldb+x" | "ldh+x" | "ldx-ip-header" | "and" | "add" | "mul" | "ret", number]
  | readonly ["tax"]
  | readonly ["jeq" | "jset", number, string | null, string | null];

const OPCODES = {
  ldb: 0x30, // BPF_LD | BPF_B | BPF_ABS
  ldh: 0x28, // BPF_LD | BPF_H | BPF_ABS
  ldw: 0x20, // BPF_LD | BPF_W | BPF_ABS
  "ldb+x": 0x50, // BPF_LD | BPF_B | BPF_IND
  "ldh+x": 0x48, // BPF_LD | BPF_H | BPF_IND
  "ldx-ip-header": 0xb1, // BPF_LDX | BPF_B | BPF_MSH: X = 4 * ([k] & 15)
  and: 0x54, // BPF_ALU | BPF_AND | BPF_K
  add: 0x04, // BPF_ALU | BPF_ADD | BPF_K
  mul: 0x24, // BPF_ALU | BPF_MUL | BPF_K
  ret: 0x06, // BPF_RET | BPF_K: bytes to keep, 0 drops
  tax: 0x07, // BPF_MISC | BPF_TAX
  jeq: 0x15, // BPF_JMP | BPF_JEQ | BPF_K
  jset: 0x45, // BPF_JMP | BPF_JSET | BPF_K
} as const;

/** Load offset of the packet type, which is no byte of the packet: SKF_AD_OFF + SKF_AD_PKTTYPE. */
export const BPF_PACKET_TYPE = 0xfffff004;
const INSTRUCTION_BYTES = 8; // struct sock_filter: 16-bit code, jump offsets jt and jf, 32-bit k

/**
 * @returns the program as an array of `struct sock_filter` in the byte order of little-endian kernels
 * @throws {Error} on a label that does not exist, stands before its jump, or lies more than 255 lines ahead
 */
export function assembleBpf(lines: readonly BpfLine[]): ArrayBuffer {
  const labels = new Map<string, number>();
  const instructions: Exclude<BpfLine, string>[] = [];
  for (const line of lines) {
    if (typeof line === "string") labels.set(line, instructions.length);
    else instructions.push(line);
  }
  const distance = (from: number, label: string | null): number => {
    const offset = label === null ? 0 : (labels.get(label) ?? Number.NaN) - from - 1;
    if (!(offset >= 0 && offset <= 255)) throw new Error(`No jump from line ${from} of a filter to "${label}"`);
    return offset;
  };
  const program = new ArrayBuffer(instructions.length * INSTRUCTION_BYTES);
  const view = new DataView(program);
  for (const [i, line] of instructions.entries()) {
    const at = i * INSTRUCTION_BYTES;
    view.setUint16(at, OPCODES[line[0]], true);
    if (line.length === 4) {
      view.setUint8(at + 2, distance(i, line[2]));
      view.setUint8(at + 3, distance(i, line[3]));
    }
    if (line.length > 1) view.setUint32(at + 4, line[1] ?? 0, true);
  }
  return program;
}
