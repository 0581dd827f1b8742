/** A schema's type as it is handed about: read, never written. */
export type DeepReadonly<T> = T extends string | number | boolean | null | undefined
  ? T
  : { readonly [K in keyof T]: DeepReadonly<T[K]> };
