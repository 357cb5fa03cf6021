// Extends a figure that is complete without it.

import { enableFrame } from "./motion.js";
import { enableSaving } from "./saving.js";
import { enableSound } from "./sound.js";
import { enableCurve } from "./zoom.js";

// Gives what a figure can do; of a machine it returns the view.
export const enableFigure = (figure) => {
  const text = figure.querySelector("script.data")?.textContent;
  if (!text) return null;
  const data = JSON.parse(text);
  enableSaving(figure, data);
  enableSound(figure, data);
  if (data.kind === "curve") enableCurve(figure, data);
  const view = data.kind === "wireframe" ? enableFrame(figure, data) : null;
  figure.querySelectorAll(".tools").forEach((tools) => { tools.hidden = false; });
  return view;
};
