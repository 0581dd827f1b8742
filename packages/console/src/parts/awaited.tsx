import { link } from "../state/console-state.ts";

/** In the place of what has been asked for and has not come: that it is on its way, or that nobody answers. @param what such as "the runs" */
export const Awaited = ({ what }: { readonly what: string }) => (
  <p class="empty" role="status">
    {link.value.kind === "on" ? `Fetching ${what} …` : `Not known here: ${what}. The controller does not answer.`}
  </p>
);
