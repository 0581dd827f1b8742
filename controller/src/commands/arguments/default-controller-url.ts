export const DEFAULT_CONTROLLER_URL = "http://127.0.0.1:8472";
