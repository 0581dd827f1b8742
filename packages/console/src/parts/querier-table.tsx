import { QUERIER_COLUMNS, querierRows, querierSentences, type RunReport, sayQuerierState } from "@dyetrace/wire";

/** Who asks for memberships, VLAN by VLAN and family by family. */
export function QuerierTable({ audits }: { readonly audits: NonNullable<RunReport["querierAudit"]> }) {
  if (audits.length === 0) return null;
  const rows = audits.flatMap((audit) => querierRows(audit).map((row) => ({ vlan: audit.vlan, row })));
  return (
    <section class="promises queriers">
      <h2>Queriers</h2>
      <ul class="plain">
        {audits.map((audit) => (
          <li key={`${audit.vlan} ${audit.family}`}>{sayQuerierState(audit)}</li>
        ))}
        {audits.flatMap(querierSentences).map((sentence) => (
          <li key={sentence}>{sentence}</li>
        ))}
      </ul>
      {rows.length > 0 && (
        /* biome-ignore lint/a11y/noNoninteractiveTabindex: a table wider than the page is scrolled with the keyboard too */
        <section class="scroll" aria-label="Queriers that were heard" tabIndex={0}>
          <table>
            <thead>
              <tr>
                {QUERIER_COLUMNS.map((name) => (
                  <th scope="col" key={name}>
                    {name.toLowerCase()}
                  </th>
                ))}
              </tr>
            </thead>
            <tbody>
              {rows.map(({ vlan, row: [name, ...cells] }) => (
                <tr key={`${vlan} ${name} ${cells[0]}`}>
                  <th scope="row">{vlan === null ? name : `${name} in VLAN ${vlan}`}</th>
                  {cells.map((cell, at) => (
                    <td key={QUERIER_COLUMNS[at + 1]}>{cell ?? "unknown"}</td>
                  ))}
                </tr>
              ))}
            </tbody>
          </table>
        </section>
      )}
    </section>
  );
}
