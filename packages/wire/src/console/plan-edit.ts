import Type, { type Static } from "@dyetrace/schema";
import { UserFileSchema } from "../control/run-request.ts";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";
import { SitePlanNodeSchema } from "../site-plan-file.ts";
import { PlanAnswerSchema } from "./plan-answer.ts";

/** Whatever somebody typed as a name: whether it can be one is checked in the plan that comes of it. */
const Name = Type.String({ minLength: 1, maxLength: 80 });
const Port = Type.String({ minLength: 1, maxLength: 40 });
const Kind = SitePlanNodeSchema.properties.kind;
/** Position in the plan's list, from 0. */
const LinkIndex = Type.Integer({ minimum: 0, maximum: 1_000_000 });

const edit = <Kind extends string, Keys extends Parameters<typeof Type.Object>[0]>(kind: Kind, keys: Keys) =>
  Type.Object({ kind: Type.Literal(kind), ...keys }, { additionalProperties: false });

/** A correction of a site plan, made by pointing. Nodes are named as the plan names them. */
export const PlanEditSchema = Type.Union([
  edit("rename", { node: Name, to: Name }),
  /** Another kind of node. */
  edit("retype", { node: Name, to: Kind }),
  /** Its link leads to another node from now on. `from`: which of its links, by the node at the other end; needed where it has several. */
  edit("move", { node: Name, from: Type.Optional(Name), to: Name, port: Type.Optional(Port) }),
  /** Two are one: what hung at the second hangs at the first. */
  edit("join", { node: Name, other: Name }),
  /** One is two: a new node of the same kind stands between it and some of its neighbours. */
  edit("split", { node: Name, name: Name, neighbours: Type.Array(Name, { maxItems: 4096 }) }),
  /** A new node that hangs at another one. */
  edit("add", { at: Name, name: Name, nodeKind: Kind }),
  /** A link between two nodes that there are, on ports that are free. */
  edit("link", { a: Name, b: Name }),
  /** A node with its links. */
  edit("remove", { node: Name }),
  edit("unlink", { link: LinkIndex }),
  /** What is known of a link, all of it anew. */
  edit("describe", {
    link: LinkIndex,
    ports: Type.Array(Port, { minItems: 2, maxItems: 2 }),
    /** As a plan writes it, such as `1 Gbit/s`; null: not known. */
    speed: Nullable(Type.String({ maxLength: 40 })),
    /** Null: all of the plan's. */
    vlans: Nullable(Type.Array(Type.Integer({ minimum: 0, maximum: 65_535 }), { maxItems: 4094 })),
    isBlocked: Type.Boolean(),
  }),
  /** A question that the drawn plan asks is answered: its line goes. */
  edit("answer", { question: Type.String({ minLength: 1, maxLength: 4096 }) }),
]);
export type PlanEdit = DeepReadonly<Static<typeof PlanEditSchema>>;

/** Body of `POST /api/console/plan-edit`. */
export const PlanToEditSchema = Type.Object(
  { plan: UserFileSchema, edit: PlanEditSchema },
  { additionalProperties: false },
);
export type PlanToEdit = DeepReadonly<Static<typeof PlanToEditSchema>>;

/** Its answer: the plan as it is then, with what is wrong with it; or what speaks against the correction. */
export const EditAnswerSchema = Type.Union([
  Type.Object({ kind: Type.Literal("refused"), says: Type.String() }),
  Type.Object({ kind: Type.Literal("edited"), text: Type.String(), answer: PlanAnswerSchema }),
]);
export type EditAnswer = DeepReadonly<Static<typeof EditAnswerSchema>>;
