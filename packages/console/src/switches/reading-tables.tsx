import { formatCount, formatRateBps } from "@dyetrace/wire";
import type { DevicePort } from "@dyetrace/wire/devices/device-port";
import type { DeviceReading } from "@dyetrace/wire/devices/device-reading";
import { type ComponentChildren, Fragment } from "preact";
import { useState } from "preact/hooks";

const MOST_ROWS = 10;

/** What stands in a reading, table by table, the worst rows first. What the device did not say is said to be unknown. */
export function ReadingTables({ reading }: { readonly reading: DeviceReading }) {
  const { ports, neighbours, groups, queriers, routerPorts, forwarding, unread } = reading;
  return (
    <div class="reading">
      {ports !== null && (
        <Table
          name={`Ports of ${reading.node}`}
          heads={["Port", "Link", "Speed", "Multicast in", "Multicast out", "Errors in", "Dropped going out"]}
          numbers={[3, 4, 5, 6]}
          rows={worstFirst(ports).map((port) => [
            port.alias === null ? port.name : `${port.name} (${port.alias})`,
            sayLink(port),
            saySpeed(port),
            ...[port.counters.inMulticast, port.counters.outMulticast].map(count),
            ...[port.counters.inErrors, port.counters.outDiscards].map(count),
          ])}
        />
      )}
      <Part rows={neighbours} what="Neighbours" none="None announces itself.">
        {(rows) => (
          <Table
            name={`Neighbours of ${reading.node}`}
            heads={["Port", "Neighbour", "Its port"]}
            rows={rows.map(({ port, systemName, chassis, portId }) => [port, systemName ?? chassis, portId])}
          />
        )}
      </Part>
      <Part rows={groups} what="Groups" none="Its group table is empty.">
        {(rows) => (
          <Table
            name={`Groups of ${reading.node}`}
            heads={["VLAN", "Group", "Ports"]}
            rows={rows.map(({ vlan, group, ports: to }) => [
              vlan === null ? "–" : String(vlan),
              group,
              to.join(", ") || "none",
            ])}
          />
        )}
      </Part>
      <Part rows={queriers} what="Querier" none="It names no querier.">
        {(rows) => (
          <ul class="plain small">
            {rows.map(({ port, protocol, address, version }) => (
              <li key={`${port} ${protocol}`}>
                {protocol.toUpperCase()} version {version ?? "unknown"} on {port ?? "an unknown port"}:{" "}
                {address ?? "none named"}
              </li>
            ))}
          </ul>
        )}
      </Part>
      <Part rows={routerPorts} what="Ports to which all groups go" none="None.">
        {(rows) => (
          <ul class="plain small">
            {rows.map(({ vlan, ports: to }) => (
              <li key={String(vlan)}>
                {vlan === null ? "All VLANs" : `VLAN ${vlan}`}: {to.length === 0 ? "none" : to.join(", ")}
              </li>
            ))}
          </ul>
        )}
      </Part>
      {forwarding !== null && (
        <p class="small">
          {formatCount(forwarding.length)} Ethernet {forwarding.length === 1 ? "address" : "addresses"} in its
          forwarding table.
        </p>
      )}
      {unread.length > 0 && (
        <>
          <h4 class="small">Not known</h4>
          <ul class="plain small">
            {[...new Set(unread.map(({ why }) => why))].map((why) => (
              <li key={why}>{why}</li>
            ))}
          </ul>
        </>
      )}
    </div>
  );
}

/** A table that was read; one that was not is said to be unknown among what is not known. */
function Part<Row>(props: {
  readonly rows: readonly Row[] | null;
  readonly what: string;
  readonly none: string;
  readonly children: (rows: readonly Row[]) => ComponentChildren;
}) {
  const { rows, what, none, children } = props;
  return (
    <>
      <h4 class="small">{what}</h4>
      {rows === null ? (
        <p class="small soft">Unknown.</p>
      ) : rows.length === 0 ? (
        <p class="small soft">{none}</p>
      ) : (
        <Fragment>{children(rows)}</Fragment>
      )}
    </>
  );
}

function Table(props: {
  readonly name: string;
  readonly heads: readonly string[];
  readonly numbers?: readonly number[];
  readonly rows: readonly (readonly string[])[];
}) {
  const { name, heads, numbers = [], rows } = props;
  const [isWhole, setWhole] = useState(false);
  const shown = isWhole ? rows : rows.slice(0, MOST_ROWS);
  const classOf = (column: number): string | undefined => (numbers.includes(column) ? "number" : undefined);
  return (
    // biome-ignore lint/a11y/noNoninteractiveTabindex: wider than a phone, and moved with the arrow keys
    <section class="wide-table" aria-label={name} tabIndex={0}>
      <table>
        <thead>
          <tr>
            {heads.map((head, column) => (
              <th key={head} scope="col" class={classOf(column)}>
                {head}
              </th>
            ))}
          </tr>
        </thead>
        <tbody>
          {shown.map((row) => (
            <tr key={row.join(" ")}>
              {row.map((cell, column) => (
                <td key={heads[column]} class={classOf(column)}>
                  {cell}
                </td>
              ))}
            </tr>
          ))}
        </tbody>
      </table>
      {rows.length > shown.length && (
        <button type="button" class="as-link small" onClick={() => setWhole(true)}>
          and {rows.length - shown.length} more
        </button>
      )}
    </section>
  );
}

const faultsOf = ({ counters: { inErrors, outDiscards } }: DevicePort): number => (inErrors ?? 0) + (outDiscards ?? 0);
const rankOf = (port: DevicePort): number =>
  faultsOf(port) > 0 ? 3 : port.duplex === "half" ? 2 : port.up === true ? 1 : 0;
/** Ports with errors or drops, then those at half duplex, then those with a link, then the others, in the device's order. */
const worstFirst = (ports: readonly DevicePort[]): readonly DevicePort[] =>
  ports.toSorted((a, b) => rankOf(b) - rankOf(a) || faultsOf(b) - faultsOf(a));

function sayLink({ up, enabled, spanningTree }: DevicePort): string {
  const link = enabled === false ? "switched off" : up === null ? "unknown" : up ? "up" : "down";
  return spanningTree === null || spanningTree === "forwarding" || up !== true ? link : `${link}, ${spanningTree}`;
}
const saySpeed = ({ speedBps, duplex }: DevicePort): string =>
  `${speedBps === null ? "unknown" : formatRateBps(speedBps)}${duplex === "half" ? ", half duplex" : ""}`;
const count = (value: number | null): string => (value === null ? "unknown" : formatCount(value));
