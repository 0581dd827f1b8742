import { Fault } from "@dyetrace/wire";

/** @param from the option or the file that it stands in @returns the address as it was given @throws {Fault} OPTION_INVALID */
export function controllerAddress(text: string, from = "--controller"): string {
  if (URL.canParse(text) && /^https?:$/.test(new URL(text).protocol)) return text;
  throw new Fault(
    "OPTION_INVALID",
    `${from} ${text} is no address of a controller`,
    "Write, for example, https://192.0.2.1:8472",
  );
}
