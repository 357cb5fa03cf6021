// The first minute: a sketch, the space it may take, and what it carries.

import { get, post } from "./server.js";

const form = document.querySelector("#sketch");
const list = document.querySelector("#sketches");
const fields = form.elements;

const fill = ({ envelope, load }) => {
  [fields.across.value, fields.deep.value, fields.high.value] = envelope;
  fields.load.value = load;
};

// Offers the sketches once; `tell` hears why one cannot be begun.
export const enableSketches = async (tell) => {
  if (list.childElementCount) return;
  const sketches = await get("sketches");
  if (list.childElementCount) return;
  list.append(...sketches.map((sketch, i) => {
    const label = document.createElement("label");
    const radio = document.createElement("input");
    Object.assign(radio, { type: "radio", name: "sketch", value: sketch.name, checked: i === 0 });
    radio.addEventListener("change", () => fill(sketch));
    const [across, deep, high] = sketch.envelope;
    label.append(radio, ` ${sketch.title}, ${across} x ${deep} x ${high} mm`);
    return label;
  }));
  fill(sketches[0]);
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const envelope = ["across", "deep", "high"].map((name) => Number(fields[name].value));
    const start = { sketch: fields.sketch.value, file: fields.file.value, envelope, load: Number(fields.load.value) };
    const { status, said } = await post("begin", start);
    tell(status, said);
  });
};
