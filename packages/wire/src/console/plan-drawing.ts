import Type, { type Static } from "@dyetrace/schema";
import { UserFileSchema } from "../control/run-request.ts";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";
import { SitePlanNodeSchema } from "../site-plan-file.ts";

/** A site plan as the console draws it: nodes and links as @dyetrace/site has them, without what it derives. */
const DrawnNodeSchema = Type.Object({
  name: Type.String(),
  kind: SitePlanNodeSchema.properties.kind,
  isQuerier: Type.Boolean(),
  agent: Nullable(Type.String()),
  addresses: Type.Optional(Type.Array(Type.String())),
});

const DrawnPortSchema = Type.Object({ node: Type.String(), port: Type.String() });

const DrawnLinkSchema = Type.Object({
  index: Type.Integer({ minimum: 0 }),
  a: DrawnPortSchema,
  b: DrawnPortSchema,
  speedBps: Nullable(Type.Number()),
  vlans: Type.Optional(Type.Array(Type.Integer())),
  cost: Type.Optional(Type.Integer()),
  isBlocked: Type.Optional(Type.Boolean()),
});

const DrawnVlanSchema = Type.Object({
  number: Type.Integer(),
  name: Nullable(Type.String()),
  ipv4: Nullable(Type.String()),
  ipv6: Nullable(Type.String()),
  querier: Nullable(Type.String()),
});

export const PlanDrawingSchema = Type.Object({
  site: Type.String(),
  nodes: Type.Array(DrawnNodeSchema),
  links: Type.Array(DrawnLinkSchema),
  /** Absent in a plan without VLANs. */
  vlans: Type.Optional(Type.Array(DrawnVlanSchema)),
});
export type PlanDrawing = DeepReadonly<Static<typeof PlanDrawingSchema>>;

/** A site plan as text and as something to draw: answer of `PUT /api/console/plan`. */
export const ConsolePlanSchema = Type.Object({
  text: UserFileSchema,
  drawing: PlanDrawingSchema,
  /** Another one for each text. */
  edition: Type.String(),
});
export type ConsolePlan = DeepReadonly<Static<typeof ConsolePlanSchema>>;

/** Body of `PUT /api/console/plan`. */
export const PlanToSaveSchema = Type.Object(
  {
    ...UserFileSchema.properties,
    /** The edition that it was made from, null where there was no plan: saved only if that is still the controller's. Absent: whatever that is. */
    replaces: Type.Optional(Nullable(Type.String({ maxLength: 64 }))),
  },
  { additionalProperties: false },
);
export type PlanToSave = DeepReadonly<Static<typeof PlanToSaveSchema>>;
