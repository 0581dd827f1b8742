export { PIN_FORM, pinOf } from "./pin.ts";
export { PinnedAgent } from "./pinned-agent.ts";
