// Turns a machine by pointer and keys, and lets one of its motions move.

import { clamp, onKeys } from "./drawing.js";
import { frameView } from "./wireframe.js";

const calm = matchMedia("(prefers-reduced-motion: reduce)");

const enableTurning = (figure, data, view) => {
  const turnBy = (turn, rise) => {
    view.turn += turn;
    view.rise = clamp(view.rise + rise, -90, 90);
    view.draw();
  };
  const home = () => {
    view.turn = data.turn;
    view.rise = data.rise;
    view.draw();
  };
  const keys = {
    ArrowLeft: () => turnBy(5, 0),
    ArrowRight: () => turnBy(-5, 0),
    ArrowUp: () => turnBy(0, -5),
    ArrowDown: () => turnBy(0, 5),
    Home: home,
  };
  for (const s of view.sheets) {
    let last = null;
    onKeys(s.sheet, "Drawing in space: arrow keys turn it, Home shows the first view", () => keys);
    s.svg.classList.add("turnable");
    s.svg.addEventListener("pointerdown", (event) => {
      last = [event.clientX, event.clientY];
      s.svg.setPointerCapture(event.pointerId);
    });
    s.svg.addEventListener("pointermove", (event) => {
      if (!last) return;
      turnBy((last[0] - event.clientX) * 0.5, (event.clientY - last[1]) * 0.5);
      last = [event.clientX, event.clientY];
    });
    for (const kind of ["pointerup", "pointercancel"]) s.svg.addEventListener(kind, () => { last = null; });
  }
  figure.querySelector('[data-turn="home"]')?.addEventListener("click", home);
};

// What a machine is drawn from, with points in metres in place of tenths of a millimetre.
export const inMetres = (data) =>
  ({ ...data, points: data.points.map((p) => p.map((v) => v === null ? null : v * 1e-4)) });

// Lets a machine turn and move; gives its view, or null where it cannot be drawn.
export const enableFrame = (figure, stated) => {
  const data = inMetres(stated);
  const view = frameView(figure, data);
  if (!view) return null;
  let playing = false;
  enableTurning(figure, data, view);

  const chosen = figure.querySelector("[data-motion]");
  const move = figure.querySelector('[data-play="shape"]');
  const play = (on) => {
    playing = on;
    move.setAttribute("aria-pressed", String(on));
    move.textContent = on ? "Hold" : "Move";
    const start = performance.now();
    const frame = (now) => {
      if (!playing) return;
      view.part = Math.sin(2 * Math.PI * 0.7 * (now - start) / 1000);
      view.draw(true);
      requestAnimationFrame(frame);
    };
    if (on) requestAnimationFrame(frame);
  };
  // A browser may restore another choice than the mode that is drawn.
  view.choose(chosen?.value ?? "");
  chosen?.addEventListener("change", () => {
    if (playing) play(false);
    view.choose(chosen.value);
  });
  move?.addEventListener("click", () => {
    if (!view.motion) {
      chosen.value = "0";
      view.choose("0");
    }
    if (calm.matches) {
      // For readers who prefer reduced motion, the button alternates between the two ends of the motion.
      view.part = -view.part;
      view.draw();
    } else {
      play(!playing);
    }
  });
  return view;
};
