import Type, { type Static } from "@dyetrace/schema";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";

const Text = Type.String();
const Count = Type.Integer({ minimum: 0 });

/** What a switch or router counted and had in its tables while the run went on. Unknown is null. */
export const ReportDeviceSchema = Type.Object({
  /** Of the plan. */
  node: Text,
  /** ISO 8601, UTC: before, during and after the run; empty where it could not be read. */
  readAt: Type.Array(Text),
  /** Ports as the plan names them, and others as the device does; counts are differences over the run. */
  ports: Type.Array(
    Type.Object({
      port: Text,
      inMulticast: Nullable(Count),
      outMulticast: Nullable(Count),
      inErrors: Nullable(Count),
      outDiscards: Nullable(Count),
      /** As it was last read. */
      up: Nullable(Type.Boolean()),
    }),
  ),
  /** Of the run's groups: to which ports they were sent on, in any of the readings. Null: no table could be read. */
  groups: Nullable(Type.Array(Type.Object({ vlan: Nullable(Type.Integer()), group: Text, ports: Type.Array(Text) }))),
  /** Address of who asks for memberships, by its own word; null: not known. */
  querier: Nullable(Text),
  /** What could not be read, in sentences. */
  unread: Type.Array(Text),
});
export type ReportDevice = DeepReadonly<Static<typeof ReportDeviceSchema>>;
