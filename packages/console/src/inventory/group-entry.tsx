import { formatRateBps } from "@dyetrace/wire";
import type { InventoryGroup, InventorySender } from "@dyetrace/wire/inventory/inventory-schema";
import { nameAddress, nameAsker, sayCard, sayPacketRate } from "@dyetrace/wire/inventory/inventory-words";
import { nameSome } from "../parts/format.ts";

/** More are counted first, and a few of them named. */
const FEW = 6;
const NAMED = 4;
const countAndName = (names: readonly string[]): string =>
  names.length <= FEW ? names.join(", ") : `${names.length}: ${nameSome(names, NAMED)}`;

/** One group and port: who sends, who asked, where it comes, and what there is to say about it. */
export function GroupEntry({ row }: { readonly row: InventoryGroup }) {
  const { group, port, senders, members, askedBy, seenBy, use, linkAddress, remarks } = row;
  const strangers = askedBy.filter(({ agent }) => agent === null || !members.includes(agent));
  return (
    <li class="on-wire">
      <h3>
        {group}
        {port !== null && <span class="soft"> port {port}</span>}
      </h3>
      {use !== null && <p class="small soft">{use}</p>}
      {senders?.map((sender) => (
        <Sender key={`${sender.address} ${sender.hardware}`} sender={sender} />
      ))}
      <dl class="figures">
        {senders === null && (
          <>
            <dt>sender</dt>
            <dd>unknown</dd>
          </>
        )}
        {senders?.length === 0 && (
          <>
            <dt>sender</dt>
            <dd>none</dd>
          </>
        )}
        <dt>members</dt>
        <dd>{members.length === 0 ? "no agent's host" : countAndName(members)}</dd>
        {strangers.length > 0 && (
          <>
            <dt>asked by</dt>
            <dd>{countAndName(strangers.map(nameAsker))}</dd>
          </>
        )}
        <dt>seen by</dt>
        <dd>{seenBy.length === 0 ? "nobody" : countAndName(seenBy)}</dd>
        <dt>Ethernet</dt>
        <dd>{linkAddress}</dd>
      </dl>
      {remarks.length > 0 && (
        <ul class="remarks">
          {remarks.map((remark) => (
            <li key={remark}>{remark}.</li>
          ))}
        </ul>
      )}
    </li>
  );
}

function Sender({ sender }: { readonly sender: InventorySender }) {
  const { address, agent, rateBps, packetsPerSecond, leastBytes, mostBytes, ttl, dscp, carries } = sender;
  const size = leastBytes === mostBytes ? `${mostBytes}\u00a0B` : `${leastBytes} to ${mostBytes}\u00a0B`;
  return (
    <dl class="figures">
      <dt>sender</dt>
      <dd>
        {nameAddress(address, agent)}
        <br />
        <span class="small soft">{sayCard(sender)}</span>
      </dd>
      <dt>sends</dt>
      <dd>
        {formatRateBps(rateBps)}, {sayPacketRate(packetsPerSecond)} of {size}
      </dd>
      <dt>carries</dt>
      <dd>{carries ?? "unknown"}</dd>
      <dt>marks</dt>
      <dd>
        TTL {ttl}, DSCP {dscp}
      </dd>
    </dl>
  );
}
