import { expect, test } from "vitest";
import { cannotRead, cannotWrite } from "./file-fault.ts";

// errno(3) for the codes.
test.each([
  ["ENOENT", "Cannot read a.yaml: there is no such file", "Cannot write a.yaml: there is no such folder"],
  ["EISDIR", "Cannot read a.yaml: it is a folder", "Cannot write a.yaml: it is a folder"],
  ["EACCES", "Cannot read a.yaml: this user may not", "Cannot write a.yaml: this user may not"],
  ["EIO", "Cannot read a.yaml: EIO", "Cannot write a.yaml: EIO"],
])("given the kernel's %s, then the sentence says what it means where we know it", (code, read, written) => {
  const cause = Object.assign(new Error("of the kernel"), { code });
  expect(cannotRead("a.yaml", cause)).toMatchObject({ code: "FILE_UNREADABLE", message: read, cause });
  expect(cannotWrite("a.yaml", cause)).toMatchObject({ code: "FILE_UNREADABLE", message: written });
});
