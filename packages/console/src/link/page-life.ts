/** Ends what this page follows, once, when its reader leaves: what the controller cuts then is no news any more. */
export const pageLife = new AbortController();
