/**
 * What a program is made of, as CycloneDX 1.6 in JSON (ECMA-424): each library with its version, licence, package URL and the
 * checksum that package-lock.json holds it to. No time and no serial number, so that the same commit gives the same bytes.
 */

/**
 * @typedef {{ name: string, version: string, license?: string }} Library
 * @param {Library} program
 * @param {Library[]} libraries
 * @param {Record<string, { version: string, integrity?: string }>} lock packages of package-lock.json
 */
export function billOfMaterials(program, libraries, lock) {
  const components = libraries
    .map((library) => component(library, lock))
    .sort((a, b) => (a["bom-ref"] < b["bom-ref"] ? -1 : 1));
  const own = urlOf(program);
  return {
    $schema: "http://cyclonedx.org/schema/bom-1.6.schema.json",
    bomFormat: "CycloneDX",
    specVersion: "1.6",
    version: 1,
    metadata: {
      component: {
        type: "application",
        "bom-ref": own,
        name: program.name,
        version: program.version,
        licenses: licences(program),
      },
    },
    components,
    dependencies: [{ ref: own, dependsOn: components.map((one) => one["bom-ref"]) }],
  };
}

function component(library, lock) {
  const { name, version } = library;
  const locked = lock[`node_modules/${name}`];
  const digest = locked?.version === version ? /^sha512-(.+)$/.exec(locked.integrity ?? "")?.[1] : undefined;
  const hashes =
    digest === undefined ? [] : [{ alg: "SHA-512", content: Buffer.from(digest, "base64").toString("hex") }];
  const purl = urlOf(library);
  return { type: "library", "bom-ref": purl, name, version, hashes, licenses: licences(library), purl };
}

/** An SPDX identifier, or an expression of several. */
function licences({ license }) {
  if (license === undefined) return [];
  return / /.test(license) ? [{ expression: license.replace(/^\((.*)\)$/, "$1") }] : [{ license: { id: license } }];
}

/** Package URL of type npm: the @ of a scope is written %40. */
const urlOf = ({ name, version }) => `pkg:npm/${name.replace("@", "%40")}@${version}`;
