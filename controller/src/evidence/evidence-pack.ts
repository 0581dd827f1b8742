import { strToU8, zipSync } from "fflate";
import { type EvidenceParts, evidenceFiles, sumsOf } from "./evidence-files.ts";

/** One archive for whoever looks into a run elsewhere. */
export interface EvidencePack {
  /** A ZIP archive (APPNOTE 6.3). The same run gives the same bytes as long as nothing was added to it. */
  readonly zip: Uint8Array;
  readonly files: readonly { readonly name: string; readonly sha256: string; readonly sizeBytes: number }[];
}

export function packEvidence(parts: EvidenceParts): EvidencePack {
  const files = evidenceFiles(parts);
  const sums = sumsOf(files);
  const mtime = writable(new Date(parts.report.endedAt));
  const entries = [...files, ["SHA256SUMS", sums] as const].map(
    ([name, text]) => [`${folderOf(parts)}/${name}`, bytesOf(text)] as const,
  );
  const shaOf = new Map(sums.split("\n").map((line) => [line.slice(66), line.slice(0, 64)]));
  return {
    zip: zipSync(Object.fromEntries(entries), { mtime }),
    files: [...files].map(([name, text]) => ({
      name,
      sha256: shaOf.get(name) ?? "",
      sizeBytes: bytesOf(text).length,
    })),
  };
}

/** The archive's own dates begin with 1980 (APPNOTE 6.3, 4.4.6); a host whose clock was never set has an earlier one. */
const EARLIEST = new Date(1980, 0, 1);
const LATEST = new Date(2099, 11, 31);

const writable = (date: Date): Date => (date < EARLIEST ? EARLIEST : date > LATEST ? LATEST : date);

const bytesOf = (file: string | Uint8Array): Uint8Array => (typeof file === "string" ? strToU8(file) : file);

const folderOf = ({ record }: EvidenceParts): string => `dyetrace-${record.runId}`;
