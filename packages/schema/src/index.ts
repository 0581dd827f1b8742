/**
 * TypeBox by one way in. It comes as more than 500 files, which each program of ours would read at its start; the build
 * (deploy/bundle-schema.mjs) makes two of them. Without that step all works the same, only slower.
 */
export type { Static, TObject, TProperties, TSchema } from "typebox";
export { default } from "typebox";
