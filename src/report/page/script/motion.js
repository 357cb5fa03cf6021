// Turns machines by pointer and keys, and lets their motions move, all of a page in step.

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

const triples = (values) => Array.from({ length: values.length / 3 }, (_, i) => values.slice(3 * i, 3 * i + 3));

// What a machine is drawn from, with points in metres in place of tenths of a millimetre, and motions point by point.
export const inMetres = (data) => ({
  ...data,
  points: data.points.map((p) => p.map((v) => v === null ? null : v * 1e-4)),
  motions: data.motions.map((motion) => ({ ...motion, shape: triples(motion.shape) })),
});

// The machines of the page that can move.
const machines = new Set();
let isMoving = false;

const forEachMachine = (act) => {
  for (const machine of machines) {
    if (machine.figure.isConnected) act(machine);
    else machines.delete(machine);
  }
};

const showFrame = (now) => {
  if (!isMoving) return;
  const part = Math.sin(2 * Math.PI * 0.7 * now / 1000);
  forEachMachine(({ view }) => {
    if (!view.motion) return;
    view.part = part;
    view.draw(true);
  });
  requestAnimationFrame(showFrame);
};

const moveAll = (on) => {
  isMoving = on;
  forEachMachine(({ button }) => {
    button.setAttribute("aria-pressed", String(on));
    button.textContent = on ? "Hold" : "Move";
  });
  if (on) requestAnimationFrame(showFrame);
};

// Machines at rest take the motion of this number, or their first.
const chooseForAll = (number) => forEachMachine(({ view, chosen }) => {
  if (view.motion) return;
  chosen.value = view.data.motions[Number(number)] ? number : "0";
  view.choose(chosen.value);
});

// Lets a machine turn and move; gives its view, or null where it cannot be drawn.
export const enableFrame = (figure, stated) => {
  const data = inMetres(stated);
  const view = frameView(figure, data);
  if (!view) return null;
  enableTurning(figure, data, view);

  const chosen = figure.querySelector("[data-motion]");
  const button = figure.querySelector('[data-play="shape"]');
  // A browser may restore another choice than the mode that is drawn.
  view.choose(chosen?.value ?? "");
  chosen?.addEventListener("change", () => view.choose(chosen.value));
  if (!button) return view;
  machines.add({ figure, view, chosen, button });
  button.addEventListener("click", () => {
    if (!isMoving) chooseForAll(chosen.value || "0");
    if (calm.matches) {
      // For readers who prefer reduced motion, the button alternates between the two ends of the motions.
      const part = -view.part;
      forEachMachine((other) => {
        other.view.part = part;
        other.view.draw();
      });
    } else {
      moveAll(!isMoving);
    }
  });
  return view;
};
