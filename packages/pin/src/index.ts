export { controllerAddress } from "./controller-address.ts";
export { http } from "./node-http.ts";
export { PIN_FORM, pinOf, pinsOf } from "./pin.ts";
export { PinnedAgent } from "./pinned-agent.ts";
