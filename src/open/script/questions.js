// Questions beside the comparison, and the tap that is recorded here or dropped.

import { enableFigure } from "./figure.js";
import { machineListing } from "./machine.js";
import { post } from "./server.js";

const LONGEST = 12;

const found = document.querySelector("#found");
const heard = document.querySelector("#heard");
const tap = document.querySelector("#tap");
const record = document.querySelector("#record");

const build = () => machineListing()?.build ?? "";

const send = (name, content) => {
  heard.textContent = `${name} is read …`;
  const query = new URLSearchParams({ build: build(), name });
  return post(`tap?${query}`, content);
};

// Mono samples as a WAV file of 32-bit floating point numbers.
const wavOf = (pieces, rate) => {
  const count = pieces.reduce((sum, piece) => sum + piece.length, 0);
  const bytes = new DataView(new ArrayBuffer(44 + 4 * count));
  const word = (at, text) => [...text].forEach((c, i) => bytes.setUint8(at + i, c.charCodeAt(0)));
  word(0, "RIFF");
  bytes.setUint32(4, 36 + 4 * count, true);
  word(8, "WAVEfmt ");
  bytes.setUint32(16, 16, true);
  bytes.setUint16(20, 3, true);
  bytes.setUint16(22, 1, true);
  bytes.setUint32(24, rate, true);
  bytes.setUint32(28, 4 * rate, true);
  bytes.setUint16(32, 4, true);
  bytes.setUint16(34, 32, true);
  word(36, "data");
  bytes.setUint32(40, 4 * count, true);
  let at = 44;
  for (const piece of pieces) for (const sample of piece) { bytes.setFloat32(at, sample, true); at += 4; }
  return new Blob([bytes], { type: "audio/wav" });
};

const plain = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };

// What a browser does to the sound although it was asked not to.
const changesOf = (settings) => Object.keys(plain).filter((key) => settings[key] === true)
  .map((key) => key.replace(/[A-Z]/g, (c) => ` ${c.toLowerCase()}`));

let stop = null;
// What is doubtful about the last recording made here.
let caution = "";

const start = async () => {
  let stream;
  try {
    stream = await navigator.mediaDevices.getUserMedia({ audio: { ...plain, channelCount: 1 } });
  } catch {
    heard.textContent = "No microphone is at hand, or its use was not allowed. Choose a recording instead.";
    return;
  }
  const context = new AudioContext();
  await context.audioWorklet.addModule("script/recorder.js");
  const changes = changesOf(stream.getAudioTracks()[0].getSettings());
  const node = new AudioWorkletNode(context, "recorder");
  const pieces = [];
  node.port.addEventListener("message", ({ data }) => pieces.push(data));
  node.port.start();
  context.createMediaStreamSource(stream).connect(node);
  record.setAttribute("aria-pressed", "true");
  record.textContent = "Stop and read it";
  caution = changes.length ? ` This browser keeps its ${changes.join(" and ")}: losses may be wrong.` : "";
  heard.textContent = `Recording: tap the machine, wait until it is quiet.${caution}`;
  const timer = setTimeout(() => stop?.(), 1000 * LONGEST);
  stop = async () => {
    stop = null;
    clearTimeout(timer);
    stream.getTracks().forEach((track) => track.stop());
    await context.close();
    record.setAttribute("aria-pressed", "false");
    record.textContent = "Record a tap here";
    await send("tap.wav", wavOf(pieces, context.sampleRate));
  };
};

const lineOf = (kind, sign) => (text) => {
  const line = document.createElement("div");
  line.className = kind;
  line.textContent = `${sign} ${text}`;
  return line;
};

// Shows an answer; `adopt` takes over what it proposes.
export const showAnswer = (answer, adopt) => {
  document.querySelectorAll("[data-ask]").forEach((button) => {
    button.setAttribute("aria-pressed", String(button.dataset.ask === answer?.what));
  });
  found.classList.toggle("waits", Boolean(answer?.waits));
  const done = answer?.of ? `${answer.done} of ${answer.of} tried ` : "";
  if (answer?.waits) heard.textContent = `It is computed ${done}…`;
  if (!answer || answer.waits) return;
  heard.textContent = `Answered:${answer.what === "tap" ? caution : ""}`;
  found.innerHTML = answer.html;
  found.querySelectorAll("figure").forEach(enableFigure);
  if (!answer.lines) return;
  const [gone, come] = answer.lines;
  const differs = document.createElement("div");
  differs.className = "differs";
  differs.append(...gone.map(lineOf("gone", "−")), ...come.map(lineOf("new", "+")));
  const take = document.createElement("button");
  take.type = "button";
  take.id = "adopt";
  take.textContent = "Take these sizes";
  take.addEventListener("click", adopt);
  found.prepend(differs, take);
};

export const enableQuestions = () => {
  document.querySelectorAll("[data-ask]").forEach((button) => {
    button.addEventListener("click", () => post("ask", { what: button.dataset.ask, build: build() }));
  });
  record.addEventListener("click", () => (stop ? stop() : start()));
  document.querySelector("#recording").addEventListener("change", ({ target }) => {
    const [file] = target.files;
    caution = "";
    if (file) send(file.name, file);
  });
  tap.addEventListener("dragover", (event) => {
    event.preventDefault();
    tap.classList.add("over");
  });
  tap.addEventListener("dragleave", () => tap.classList.remove("over"));
  tap.addEventListener("drop", (event) => {
    event.preventDefault();
    tap.classList.remove("over");
    const [file] = event.dataTransfer.files;
    caution = "";
    if (file) send(file.name, file);
  });
};
