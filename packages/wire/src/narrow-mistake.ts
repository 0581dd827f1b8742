import type { TSchema } from "@dyetrace/schema";

/** A part of a value with the schema that it breaks; every part of it is as agreed, or it has none that can be told apart. */
export interface Mistake {
  readonly schema: TSchema;
  readonly value: unknown;
  /** JSON pointer (RFC 6901); empty: the whole. */
  readonly path: string;
}

type Check = (schema: TSchema, value: unknown) => boolean;

interface Form {
  readonly anyOf?: readonly TSchema[];
  readonly items?: TSchema;
  readonly properties?: Readonly<Record<string, TSchema>>;
}

/**
 * Goes down to the first part that is wrong. Asking a schema library for all errors of a message of megabytes holds the
 * event loop for a second; this asks only yes-or-no questions, of one part after the other.
 * @param check whether a value is as a schema says
 */
export function narrowMistake(schema: TSchema, value: unknown, check: Check): Mistake {
  let mistake: Mistake = { schema, value, path: "" };
  for (;;) {
    const next = nextWithin(mistake, check);
    if (next === null) return mistake;
    mistake = next;
  }
}

function nextWithin({ schema, value, path }: Mistake, check: Check): Mistake | null {
  const { anyOf, items, properties } = schema as Form;
  if (anyOf !== undefined) {
    const meant = anyOf.find((part) => isMeant(part, value));
    return meant === undefined ? null : { schema: meant, value, path };
  }
  if (typeof value !== "object" || value === null) return null;
  if (Array.isArray(value)) {
    if (items === undefined || Array.isArray(items)) return null;
    const index = value.findIndex((one) => !check(items, one));
    return index < 0 ? null : { schema: items, value: value[index], path: `${path}/${index}` };
  }
  for (const [key, part] of Object.entries(properties ?? {})) {
    if (!Object.hasOwn(value, key)) continue;
    const own: unknown = (value as Readonly<Record<string, unknown>>)[key];
    if (own !== undefined && !check(part, own)) return { schema: part, value: own, path: `${path}/${key}` };
  }
  return null;
}

/** The one of several forms that bears the value's own `kind`; or the one beside null. */
function isMeant(schema: TSchema, value: unknown): boolean {
  const { properties } = schema as Form;
  const kind = (properties?.["kind"] as { readonly const?: unknown } | undefined)?.const;
  if (typeof value !== "object" || value === null) return false;
  if (kind !== undefined) return (value as { readonly kind?: unknown }).kind === kind;
  const { type } = schema as { readonly type?: unknown };
  return Array.isArray(value) ? type === "array" : type === "object";
}

/** More than so many parts in one that is wrong as a whole are not gone through for words. */
const MOST_PARTS = 2_000;

/** Whether a value has few enough parts that all of them may be looked at. */
export function isSmall(value: unknown): boolean {
  const open = [value];
  let parts = 0;
  for (const one of open) {
    if (typeof one !== "object" || one === null) continue;
    const own = Object.values(one);
    parts += own.length;
    if (parts > MOST_PARTS) return false;
    open.push(...own);
  }
  return true;
}
