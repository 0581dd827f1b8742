import { render } from "preact";
import { followController } from "./link/follow-controller.ts";
import { pageLife } from "./link/page-life.ts";
import { App } from "./pages/app.tsx";
import { controllerGone, takeEvent } from "./state/console-state.ts";
import { loadSession } from "./state/session.ts";
import "@dyetrace/picture/style/inks.css";
import "@dyetrace/picture/style/inks-night.css";
import "./style/sheet.css";
import "./style/frame.css";
import "./style/map.css";
import "./style/replay.css";
import "@dyetrace/picture/style/map-water.css";
import "@dyetrace/picture/style/map-lanes.css";
import "@dyetrace/picture/style/map-key.css";
import "@dyetrace/picture/style/charts.css";
import "./style/access.css";
import "./style/pages.css";
import "./style/print.css";

const root = document.getElementById("console");
if (root !== null) render(<App />, root);
void loadSession();
void followController(
  { onEvent: takeEvent, onGone: controllerGone, onSignedOut: () => void loadSession() },
  pageLife.signal,
);
