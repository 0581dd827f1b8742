import type { DeviceAccess } from "@dyetrace/wire/devices/device-access";
import { SNMP_PORT, V2C_CAUTION } from "@dyetrace/wire/devices/snmp-words";
import { useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { RefusalNote } from "../parts/refusal-note.tsx";
import { plan } from "../state/console-state.ts";

const HASHES = ["sha", "sha224", "sha256", "sha384", "sha512"] as const;

/** Lets the controller read a device. What is typed here goes to the controller and never comes back. */
export function AddDevice({ onAdded }: { readonly onAdded: () => void }) {
  const [node, setNode] = useState("");
  const [address, setAddress] = useState("");
  const [port, setPort] = useState(String(SNMP_PORT));
  const [isV3, setV3] = useState(true);
  const [user, setUser] = useState("");
  const [auth, setAuth] = useState<(typeof HASHES)[number]>("sha256");
  const [authPassword, setAuthPassword] = useState("");
  const [privacyPassword, setPrivacyPassword] = useState("");
  const [community, setCommunity] = useState("");
  const [added, setAdded] = useState<string | null>(null);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const names = plan.value?.drawing.nodes.flatMap(({ name, kind }) => (kind === "host" ? [] : [name])) ?? [];
  const add = (event: Event): void => {
    event.preventDefault();
    setAdded(null);
    setRefusal(null);
    const access: DeviceAccess = isV3
      ? { version: "3", user: user.trim(), auth, authPassword, privacy: "aes", privacyPassword }
      : { version: "2c", community };
    const body = { node: node.trim(), address: address.trim(), port: Number(port), access };
    askController("/api/devices", { method: "POST", body }).then(
      () => {
        setAdded(body.node);
        setNode("");
        setAddress("");
        setAuthPassword("");
        setPrivacyPassword("");
        setCommunity("");
        onAdded();
      },
      (error: unknown) => setRefusal(asRefusal(error)),
    );
  };
  return (
    <section class="add-agent" aria-labelledby="add-device">
      <h2 id="add-device">Add a switch, router or access point</h2>
      <p class="small">
        The controller only reads it, by SNMP; nothing is ever written to it. Its secrets stay in a file that the
        controller's user alone can read.
      </p>
      <form onSubmit={add} autocomplete="off">
        <div class="two-fields">
          <label class="field">
            <span>Name in the plan</span>
            <input value={node} list="plan-devices" required onInput={(event) => setNode(event.currentTarget.value)} />
            <datalist id="plan-devices">
              {names.map((name) => (
                <option key={name} value={name} />
              ))}
            </datalist>
          </label>
          <label class="field">
            <span>Address</span>
            <input
              value={address}
              placeholder="192.0.2.7"
              required
              onInput={(event) => setAddress(event.currentTarget.value)}
            />
          </label>
          <label class="field">
            <span>UDP port</span>
            <input
              value={port}
              type="number"
              min={1}
              max={65535}
              required
              onInput={(event) => setPort(event.currentTarget.value)}
            />
          </label>
          <label class="field">
            <span>How it is read</span>
            <select value={isV3 ? "3" : "2c"} onChange={(event) => setV3(event.currentTarget.value === "3")}>
              <option value="3">SNMPv3, encrypted</option>
              <option value="2c">SNMPv2c, in clear</option>
            </select>
          </label>
        </div>
        {isV3 ? (
          <div class="two-fields">
            <label class="field">
              <span>User on the device</span>
              <input value={user} maxLength={32} required onInput={(event) => setUser(event.currentTarget.value)} />
            </label>
            <label class="field">
              <span>Signed with</span>
              <select value={auth} onChange={(event) => setAuth(event.currentTarget.value as (typeof HASHES)[number])}>
                {HASHES.map((hash) => (
                  <option key={hash} value={hash}>
                    {hash}
                  </option>
                ))}
              </select>
            </label>
            <Secret name="Password for signing" value={authPassword} least={8} onInput={setAuthPassword} />
            <Secret
              name="Password for encryption (AES)"
              value={privacyPassword}
              least={8}
              onInput={setPrivacyPassword}
            />
          </div>
        ) : (
          <div class="two-fields">
            <Secret name="Community" value={community} least={1} onInput={setCommunity} />
            <p class="refusal small" role="note">
              Caution: {V2C_CAUTION}.
            </p>
          </div>
        )}
        <button type="submit" class="press">
          Add the device
        </button>
      </form>
      {refusal !== null && <RefusalNote refusal={refusal} />}
      {added !== null && <p role="status">The controller may read {added} now. Read it to see whether it can.</p>}
    </section>
  );
}

function Secret(props: {
  readonly name: string;
  readonly value: string;
  /** RFC 3414, section 11.2: a password has 8 characters at least. */
  readonly least: number;
  readonly onInput: (value: string) => void;
}) {
  return (
    <label class="field">
      <span>{props.name}</span>
      <input
        type="password"
        value={props.value}
        minLength={props.least}
        maxLength={255}
        required
        autocomplete="new-password"
        onInput={(event) => props.onInput(event.currentTarget.value)}
      />
    </label>
  );
}
