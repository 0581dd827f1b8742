import { Fault } from "../fault.ts";

/** What the codes of errno(3) mean for whoever named a file; another one is told as it is. */
const WORDS: Readonly<Record<string, string>> = {
  EACCES: "this user may not",
  EISDIR: "it is a folder",
  ENOSPC: "the disk is full",
  ENOTDIR: "a part of its path is no folder",
  EROFS: "the disk is read-only",
};

/** @param cause as the file system gave it */
export const cannotRead = (file: string, cause: unknown, hint = ""): Fault =>
  new Fault("FILE_UNREADABLE", `Cannot read ${file}: ${wordsOf(cause, "there is no such file")}`, hint, { cause });

/** @param cause as the file system gave it */
export const cannotWrite = (file: string, cause: unknown, hint = ""): Fault =>
  new Fault("FILE_UNREADABLE", `Cannot write ${file}: ${wordsOf(cause, "there is no such folder")}`, hint, { cause });

function wordsOf(cause: unknown, missing: string): string {
  const { code, message } = cause as { readonly code?: string; readonly message?: string };
  if (code === "ENOENT") return missing;
  return (code === undefined ? message : (WORDS[code] ?? code)) ?? "nobody says why";
}
