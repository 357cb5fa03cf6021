// Extends a page that is complete without it, figure by figure.

import { enableFrame } from "./motion.js";
import { enableSaving } from "./saving.js";
import { enableSound } from "./sound.js";
import { enableCurve } from "./zoom.js";

for (const figure of document.querySelectorAll("figure")) {
  const text = figure.querySelector("script.data")?.textContent;
  if (!text) continue;
  const data = JSON.parse(text);
  enableSaving(figure, data);
  enableSound(figure, data);
  if (data.kind === "curve") enableCurve(figure, data);
  if (data.kind === "wireframe") enableFrame(figure, data);
  figure.querySelectorAll(".tools").forEach((tools) => { tools.hidden = false; });
}
