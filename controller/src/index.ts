export { ControllerClient } from "./commands/controller-client.ts";
export { type PracticeSetup, raisePractice, type StandingPractice } from "./commands/standing-practice.ts";
export { LIVE_SAFETY, type Safety } from "./engine/safety.ts";
export { type Controller, type ControllerOptions, startController } from "./service/controller-service.ts";
