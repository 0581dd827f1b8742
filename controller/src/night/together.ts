/** Episodes of one kind that begin this soon after each other's end are one incident. */
export const TOGETHER_NS: number = 2e9;
