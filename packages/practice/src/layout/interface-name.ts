/**
 * The name that a port bears inside its node: `p` before a digit, and a hyphen for the slashes that the kernel refuses
 * (`dev_valid_name` in net/core/dev.c). A port name of a site plan has at most 13 characters, an interface name 15.
 */
export function interfaceName(port: string): string {
  const plain = port.replaceAll("/", "-");
  return /^[0-9]/.test(plain) ? `p${plain}` : plain;
}
