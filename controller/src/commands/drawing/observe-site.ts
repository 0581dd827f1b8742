import type { Observations } from "@dyetrace/site";
import type { DeviceReading } from "@dyetrace/wire/devices/device-reading";
import type { ControllerClient } from "../client/controller-client.ts";

/** Devices that are read at once. */
const AT_ONCE = 4;

/**
 * What the connected agents hear, and what the devices say that the controller may read.
 * @param say told, a sentence each, what could not be read
 */
export async function observeSite(
  client: ControllerClient,
  isAgentsOnly: boolean,
  say: (sentence: string) => void,
): Promise<Observations> {
  const hosts = await client.ask("readSurroundings");
  const devices = isAgentsOnly ? [] : await client.ask("listDevices");
  const readings: DeviceReading[] = [];
  const queue = devices.values();
  const worker = async (): Promise<void> => {
    for (const { node } of queue) {
      const reading = await client.ask("readDevice", { path: { node } });
      const [first] = reading.unread;
      if (reading.ports === null && reading.neighbours === null) say(first?.why ?? `${node} could not be read`);
      else readings.push(reading);
    }
  };
  await Promise.all(Array.from({ length: AT_ONCE }, worker));
  const deaf = hosts.filter(({ surroundings }) => surroundings.announcements === null).map(({ agent }) => agent);
  if (deaf.length > 0) say(`These agents cannot hear announcements: ${deaf.join(", ")}`);
  // In order of names, whoever answered first: the same site is drawn the same way.
  return { hosts, readings: readings.toSorted((a, b) => (a.node < b.node ? -1 : 1)) };
}
