// What every page does with scripts on: follows the stream, shows new readings, draws the curves.
import { follow, refresh } from "./live.js";
import { worded } from "./panels.js";

const SETTLE = 120;
const chart = document.querySelector("[data-chart]");
const onlyBin = document.querySelector(".bin-page")?.dataset.bin ?? "";
let picture = null, ranged = false;

if (chart) {
  const { make } = await import("./chart.js");
  const data = JSON.parse(document.getElementById("chart-data").textContent);
  const home = { from: data.from, until: data.until };
  let waiting = 0;
  const load = async (from, until) => {
    const query = new URLSearchParams({ from: new Date(from).toISOString(), until: new Date(until).toISOString(), points: Math.min(700, Math.round(chart.clientWidth)) });
    const answer = await fetch(`/api/v1/bins/${encodeURIComponent(chart.dataset.bin)}/series?${query}`);
    if (!answer.ok) return;
    const body = await answer.json();
    const [nowFrom, nowUntil] = picture.range();
    if (Math.abs(nowFrom - from) > 1 || Math.abs(nowUntil - until) > 1) return;
    picture.setRange(from, until, { ...body, start_ms: Date.parse(body.start), step_ms: body.step_s * 1000 }, true);
  };
  picture = make(chart, data, {
    ranged(from, until) { ranged = true; clearTimeout(waiting); waiting = setTimeout(load, SETTLE, from, until); },
    home() { picture.setRange(home.from, home.until); },
  });
  chart.before(ranges(picture));
}

function ranges(of) {
  const row = document.createElement("p");
  row.className = "ranges";
  for (const [word, days] of [["Day", 1], ["Week", 7], ["Month", 30], ["Year", 365]]) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "quiet";
    button.textContent = word;
    button.setAttribute("aria-pressed", String(days === 7));
    button.addEventListener("click", () => {
      const until = of.range()[1];
      of.setRange(until - days * 86_400_000, until);
      for (const one of row.children) one.setAttribute("aria-pressed", String(one === button));
    });
    row.append(button);
  }
  return row;
}

function showReading(event) {
  for (const [channel, value] of Object.entries(event.values)) {
    const unit = channel.endsWith("_temp_c") ? "temp" : channel.endsWith("_pct") ? "%" : "";
    const text = unit === "%" ? `${Math.round(value)} %` : worded(value, unit, document.querySelector("[data-units=us]") !== null);
    const spots = event.bin
      ? document.querySelectorAll(`[data-bin="${CSS.escape(event.bin)}"] [data-now="${channel}"]`) : [];
    for (const spot of spots) {
      if (spot.textContent === text) continue;
      spot.textContent = text;
      spot.classList.remove("changed");
      void spot.getBoundingClientRect();
      spot.classList.add("changed");
    }
  }
}

if (document.querySelector("[data-live]")) {
  follow(onlyBin, (event) => {
    if (event.kind === "reading") {
      showReading(event);
      if (picture && event.bin === onlyBin) picture.append(event.at_ms, event.values);
      if (document.querySelector('[data-live="probes"]')) refresh();
    } else refresh();
    if (event.kind === "journal" && picture && event.bin === onlyBin && !ranged) location.reload();
  });
}

for (const part of document.querySelectorAll("details[data-remember]")) {
  try {
    if (localStorage.getItem(part.dataset.remember) === "open") part.open = true;
    part.addEventListener("toggle", () => localStorage.setItem(part.dataset.remember, part.open ? "open" : ""));
  } catch { /* A browser without storage remembers nothing. */ }
}
