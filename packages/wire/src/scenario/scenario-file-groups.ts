import { formatIpAddress, isMulticast, isSourceSpecific, parseIpAddress } from "../ip-address.ts";
import type { DataPath } from "../yaml/yaml-document.ts";
import type { FileMistakes } from "../yaml/yaml-document-mistakes.ts";

export interface Group {
  readonly text: string;
  readonly isInSourceSpecificRange: boolean;
}

/** @returns `copies` consecutive groups, or null with a mistake added */
export function resolveGroups(text: string, copies: number, path: DataPath, mistakes: FileMistakes): Group[] | null {
  const first = parseIpAddress(text);
  if (first === null) {
    mistakes.add(
      path,
      `"${text}" is not an IPv4 or IPv6 address`,
      "Write a group such as 239.195.10.4 or ff15::8000:1",
    );
    return null;
  }
  if (!isMulticast(first)) {
    const range = first.family === 4 ? "224.0.0.0 to 239.255.255.255" : "ff00:: and above";
    mistakes.add(path, `${text} is not a multicast group`, `Groups lie in ${range}`);
    return null;
  }
  const groups: Group[] = [];
  let bytes: Uint8Array | null = first.bytes;
  for (let copy = 0; copy < copies; copy++) {
    if (bytes === null || !isMulticast({ family: first.family, bytes })) {
      mistakes.add(path, `${copies} groups from ${text} on run past the end of the multicast range`, "Begin lower");
      return null;
    }
    groups.push({
      text: formatIpAddress(bytes),
      isInSourceSpecificRange: isSourceSpecific({
        family: first.family,
        bytes,
      }),
    });
    bytes = nextAddress(bytes);
  }
  return groups;
}

/** @returns the address after `bytes`, or null after the last one */
function nextAddress(bytes: Uint8Array): Uint8Array | null {
  const next = Uint8Array.from(bytes);
  for (let at = next.length - 1; at >= 0; at--) {
    const value = (next[at] ?? 0) + 1;
    next[at] = value & 0xff;
    if (value <= 0xff) return next;
  }
  return null;
}
