import { formatRateBps } from "@dyetrace/wire";
import type {
  Inventory,
  InventoryChange,
  InventoryChanges,
  InventoryGroup,
  InventorySender,
} from "@dyetrace/wire/inventory/inventory-schema";
import { isNobodys } from "@dyetrace/wire/inventory/inventory-words";

/** A rate that differs by less than this is the same (common practice, no source). */
const SAME_RATE_RATIO = 1.5;

/** What an inventory has that an earlier one had not, what is gone, and what is otherwise. */
export function compareInventories(now: Inventory, before: Inventory): InventoryChanges {
  const [here, there] = [byPlace(now), byPlace(before)];
  const appeared = [...here]
    .filter(([place]) => !there.has(place))
    .map(([, group]) => changeOf(group, describe(group)));
  const gone = [...there].filter(([place]) => !here.has(place)).map(([, group]) => changeOf(group, describe(group)));
  const changed = [...here].flatMap(([place, group]) => {
    const earlier = there.get(place);
    const what = earlier === undefined ? [] : differences(group, earlier);
    return what.length === 0 ? [] : [changeOf(group, what)];
  });
  return {
    id: now.id,
    since: before.id,
    sinceTakenAt: before.takenAt,
    appeared,
    gone,
    changed,
    doubts: doubtsOf(now, before),
  };
}

const byPlace = ({ groups }: Inventory): Map<string, InventoryGroup> =>
  new Map(groups.map((group) => [`${group.group} ${group.protocol} ${group.port}`, group]));

const changeOf = ({ group, port }: InventoryGroup, what: readonly string[]): InventoryChange => ({ group, port, what });

function describe({ senders, members, askedBy, use }: InventoryGroup): string[] {
  return [
    ...(senders ?? []).map((one) => `${nameOf(one)} sends ${formatRateBps(one.rateBps)}`),
    ...(members.length > 0 ? [`members: ${members.join(", ")}`] : []),
    ...(askedBy.length > 0 ? [`asked for by ${askedBy.map(({ address }) => address).join(", ")}`] : []),
    ...(use === null ? [] : [use]),
  ];
}

function differences(now: InventoryGroup, before: InventoryGroup): string[] {
  const [here, there] = [sendersOf(now), sendersOf(before)];
  const both = [...here].flatMap(([address, sender]) => {
    const earlier = there.get(address);
    return earlier === undefined ? [] : senderDifferences(sender, earlier);
  });
  return [
    ...[...here].filter(([address]) => !there.has(address)).map(([, one]) => `${nameOf(one)} sends now`),
    ...[...there].filter(([address]) => !here.has(address)).map(([, one]) => `${nameOf(one)} no longer sends`),
    ...both,
    ...listDifference("a member now", "no longer a member", now.members, before.members),
    ...listDifference("reached without having asked now", "no longer reached unasked", now.unaskedAt, before.unaskedAt),
  ];
}

function senderDifferences(now: InventorySender, before: InventorySender): string[] {
  const [more, less] = [Math.max(now.rateBps, before.rateBps), Math.min(now.rateBps, before.rateBps)];
  const isOtherCard =
    !isNobodys(now.address) && now.hardware !== null && before.hardware !== null && now.hardware !== before.hardware;
  return [
    ...(more > less * SAME_RATE_RATIO
      ? [`${now.address}: ${formatRateBps(now.rateBps)}, was ${formatRateBps(before.rateBps)}`]
      : []),
    ...(isOtherCard
      ? [`${now.address}: Ethernet address ${now.hardware}, was ${before.hardware}: another device`]
      : []),
    ...(now.dscp === before.dscp ? [] : [`${now.address}: DSCP ${now.dscp}, was ${before.dscp}`]),
    ...(now.ttl === before.ttl ? [] : [`${now.address}: TTL ${now.ttl}, was ${before.ttl}`]),
    ...(now.carries !== null && before.carries !== null && now.carries !== before.carries
      ? [`${now.address}: ${now.carries}, was ${before.carries}`]
      : []),
  ];
}

function listDifference(here: string, gone: string, now: readonly string[], before: readonly string[]): string[] {
  return [
    ...now.filter((one) => !before.includes(one)).map((one) => `${one}: ${here}`),
    ...before.filter((one) => !now.includes(one)).map((one) => `${one}: ${gone}`),
  ];
}

function doubtsOf(now: Inventory, before: Inventory): string[] {
  const whoLooked = ({ agents }: Inventory): string[] =>
    agents.filter(({ lookedMs }) => lookedMs !== null).map(({ agent }) => agent);
  const [here, there] = [whoLooked(now), whoLooked(before)];
  return [
    ...here
      .filter((one) => !there.includes(one))
      .map((one) => `${one} looked only this time: what it alone sees may not be new`),
    ...there
      .filter((one) => !here.includes(one))
      .map((one) => `${one} looked only then: what it alone saw may still be there`),
    ...(now.seenForMs === before.seenForMs
      ? []
      : [
          `One look was of ${now.seenFor}, the other of ${before.seenFor}: what is sent seldom shows in the longer one alone`,
        ]),
  ];
}

const sendersOf = ({ senders }: InventoryGroup): Map<string, InventorySender> =>
  new Map((senders ?? []).map((one) => [one.address, one]));

const nameOf = ({ address, agent }: InventorySender): string => (agent === null ? address : `${address} (${agent})`);
