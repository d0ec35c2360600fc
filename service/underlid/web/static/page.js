// What every page does with scripts on: follows the stream, shows new readings, draws the curves.

import { follow, outdate, refresh } from "./live.js";
import { text } from "./words.js";

const onlyBin = document.querySelector(".bin-page")?.dataset.bin ?? "";
const root = document.querySelector("[data-chart]");
const units = document.querySelector("[data-units]")?.dataset.units ?? "si";
const curves = root ? (await import("./curves.js")).begin(root, onlyBin) : null;

function showReading({ bin, values }) {
  if (!bin) return;
  for (const [channel, value] of Object.entries(values)) {
    const now = text(channel, value, units);
    const where = `[data-bin="${CSS.escape(bin)}"] [data-now="${CSS.escape(channel)}"]`;
    for (const spot of document.querySelectorAll(where)) {
      if (spot.textContent === now) continue;
      spot.textContent = now;
      spot.classList.remove("changed");
      void spot.getBoundingClientRect(); // so that the animation starts again
      spot.classList.add("changed");
    }
  }
}

const RENEW_MS = 30_000; // what is foreseen changes with each judgement, but slowly
let renewed = performance.now();

if (document.querySelector("[data-live]")) {
  follow(onlyBin, (event) => {
    if (event.kind === "reading") {
      showReading(event);
      outdate();
      if (event.bin === onlyBin) curves?.append(event);
      if (document.querySelector("[data-live=probes]")) refresh();
      return;
    }
    if (event.kind === "rejected" && !document.querySelector("[data-live=rejects]")) return;
    refresh();
    if (event.kind === "judged" && (event.bin !== onlyBin || performance.now() - renewed < RENEW_MS)) return;
    renewed = performance.now();
    curves?.renew();
  });
}

if (document.querySelector("input[type=file]")) import("./shrink.js");
if (document.querySelector("[data-push]")) import("./push.js");

const paper = document.querySelector("[data-print]");
if (paper) {
  paper.hidden = false;
  paper.addEventListener("click", () => print());
}

const zone = document.querySelector("[data-guess-zone] [name=timezone]");
if (zone) {
  const here = Intl.DateTimeFormat().resolvedOptions().timeZone;
  const untouched = [...zone.options].every((one) => one.selected === one.defaultSelected); // or somebody was faster
  if (untouched && [...zone.options].some((one) => one.value === here)) zone.value = here;
}

for (const part of document.querySelectorAll("details[data-remember]")) {
  try {
    if (localStorage.getItem(part.dataset.remember) === "open") part.open = true;
    part.addEventListener("toggle", () => localStorage.setItem(part.dataset.remember, part.open ? "open" : ""));
  } catch { /* A browser without storage remembers nothing. */ }
}
