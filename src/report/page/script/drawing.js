// What all drawings share: their elements, the sheet that is shown, the pointer, the keys.

const SVG = "http://www.w3.org/2000/svg";

export const make = (name, attributes, parent) => {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  parent.append(element);
  return element;
};

export const clamp = (value, low, high) => Math.min(high, Math.max(low, value));

// The version of the drawing, wide or narrow, that fits the window.
export const visible = (figure) => {
  const sheets = [...figure.querySelectorAll(".sheet")];
  return sheets.find((sheet) => sheet.offsetParent !== null) ?? sheets[0];
};

// Position of the pointer in units of the drawing.
export const pointerAt = (svg, event) => {
  const box = svg.getBoundingClientRect();
  const view = svg.viewBox.baseVal;
  return [
    (event.clientX - box.left) * view.width / box.width,
    (event.clientY - box.top) * view.height / box.height,
  ];
};

// Lets `sheet` be reached by keyboard; `actions` of a key event gives what each key does.
export const onKeys = (sheet, label, actions) => {
  sheet.tabIndex = 0;
  sheet.setAttribute("role", "group");
  sheet.setAttribute("aria-label", label);
  sheet.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const action = actions(event)[event.key];
    if (!action) return;
    event.preventDefault();
    action();
  });
};
