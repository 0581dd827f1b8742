/** Most uses of groups that one report lists. */
export const MOST_GROUP_USES = 64;
