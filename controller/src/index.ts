export { ControllerClient } from "./commands/client/controller-client.ts";
export { type PracticeSetup, raisePractice, type StandingPractice } from "./commands/standing-practice.ts";
export { LIVE_SAFETY, type Safety } from "./plan/safety.ts";
export { type Controller, type ControllerOptions, startController } from "./service/controller-service.ts";
