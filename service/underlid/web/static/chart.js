// The bin's curves as SVG: make(root, data, events) -> {setRange, append, range}.
// data: {start_ms, step_ms, points, channels: {name: {low, mean, high}}, marks, spans, from, until}.
// Reading, moving and keys are in gestures.js; which channels there are in panels.js.
import { PANELS, levels, shownValue, worded } from "./panels.js";
import { spoken, ticks } from "./ticks.js";
import { listen } from "./gestures.js";

const SVG = "http://www.w3.org/2000/svg";
const LEFT = 38, RIGHT = 10, TOP = 44, GAP = 30, BOTTOM = 24;
const HEIGHTS = [170, 80, 80, 80];
const SPAN_LEAST = 30 * 60_000;

export function add(parent, name, attributes = {}, text = "") {
  const node = parent.appendChild(document.createElementNS(SVG, name));
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  if (text) node.textContent = text;
  return node;
}

export function make(root, data, events = {}) {
  const zone = root.dataset.timezone || "UTC";
  const fahrenheit = root.dataset.units === "us";
  let { from, until } = data;
  let cursor = null, svg = null, panels = [], width = 0, height = 0;

  const legend = document.createElement("ul");
  legend.className = "legend";
  const reading = document.createElement("p");
  reading.className = "reading";
  reading.setAttribute("aria-live", "polite");
  const holder = document.createElement("div");
  root.replaceChildren(legend, holder, reading);

  const x = (at) => LEFT + (at - from) / (until - from) * (width - LEFT - RIGHT);
  const at = (px) => from + (px - LEFT) / (width - LEFT - RIGHT) * (until - from);
  const present = () => PANELS.map((panel, index) => ({ ...panel, height: HEIGHTS[index],
    channels: panel.channels.filter(([name]) => data.channels[name]) })).filter((one) => one.channels.length);

  function indexAt(time) {
    return Math.max(0, Math.min(data.points - 1, Math.floor((time - data.start_ms) / data.step_ms)));
  }

  function bounds(panel) {
    const first = indexAt(from), last = indexAt(until);
    let low = Infinity, high = -Infinity;
    for (const [name] of panel.channels) {
      const band = data.channels[name];
      for (let n = first; n <= last; n++) {
        if (band.low[n] !== null && band.low[n] < low) low = band.low[n];
        if (band.high[n] !== null && band.high[n] > high) high = band.high[n];
      }
    }
    if (low > high) [low, high] = [panel.floor ?? 0, (panel.floor ?? 0) + panel.least];
    if (panel.floor !== undefined) low = panel.floor;
    const missing = Math.max(0, panel.least - (high - low));
    const pad = (high - low) * 0.06;
    const under = panel.floor === undefined ? missing / 2 + pad : 0;
    return [shownValue(low - under, panel.unit, fahrenheit),
      shownValue(high + missing - (panel.floor === undefined ? missing / 2 : 0) + pad, panel.unit, fahrenheit)];
  }

  function draw() {
    width = Math.max(280, Math.round(root.clientWidth));
    panels = present();
    height = TOP + panels.reduce((sum, one) => sum + one.height + GAP, 0) - GAP + BOTTOM + 18;
    if (svg) svg.remove();
    svg = add(holder, "svg", { viewBox: `0 0 ${width} ${height}`, height, tabindex: "0", role: "application",
      "aria-roledescription": "curves", "aria-label": about() });
    if (!panels.length) {
      add(svg, "text", { x: LEFT, y: TOP }, "Nothing was measured in this time.");
      return;
    }
    let top = TOP;
    for (const panel of panels) { drawPanel(panel, top); top += panel.height + GAP; }
    drawTimes(height - BOTTOM);
    drawSpans(); drawMarks(); drawLegend(); drawCursor();
    stop(); stop = listen(svg, api);
  }

  function drawPanel(panel, top) {
    const [low, high] = bounds(panel);
    const y = (value) => top + panel.height - (value - low) / (high - low) * panel.height;
    panel.y = y; panel.top = top;
    const unit = panel.unit === "temp" ? (fahrenheit ? "°F" : "°C") : panel.unit;
    for (const level of levels(low, high)) {
      add(svg, "line", { class: "grid", x1: LEFT, x2: width - RIGHT, y1: y(level), y2: y(level) });
      add(svg, "text", { x: LEFT - 6, y: y(level) + 4, "text-anchor": "end" }, String(level).replace("-", "−"));
    }
    add(svg, "text", { class: "title", x: LEFT, y: top - 8 }, `${panel.title}, ${unit}`);
    for (const [name, , style] of panel.channels) drawCurve(data.channels[name], style, y, panel.unit);
  }

  function drawCurve(band, style, y, unit) {
    const first = Math.max(0, indexAt(from) - 1), last = Math.min(data.points - 1, indexAt(until) + 1);
    let line = "", area = "", back = "", open = false;
    const close = () => { if (area) add(svg, "path", { class: `band k${style}`, d: `${area}${back}Z` }); area = back = ""; };
    for (let n = first; n <= last; n++) {
      if (band.mean[n] === null) { open = false; close(); continue; }
      const px = x(data.start_ms + (n + 0.5) * data.step_ms).toFixed(1);
      const [low, mean, high] = [band.low[n], band.mean[n], band.high[n]].map((one) => y(shownValue(one, unit, fahrenheit)).toFixed(1));
      line += `${open ? "L" : "M"}${px} ${mean}${open ? "" : "h.1"}`;
      area += `${area ? "L" : "M"}${px} ${high}`;
      back = `L${px} ${low}${back}`;
      open = true;
    }
    close();
    if (line) add(svg, "path", { class: `line k${style}`, d: line, "clip-path": "none" });
  }

  function drawTimes(base) {
    for (const tick of ticks(from, until, Math.max(2, Math.floor((width - LEFT) / 62)), zone)) {
      const px = x(tick.at);
      add(svg, "line", { class: tick.day ? "day" : "grid", x1: px, x2: px, y1: TOP - 2, y2: base });
      if (px > LEFT + 8 && px < width - 24) add(svg, "text", { x: px, y: base + 14, "text-anchor": "middle" }, tick.text);
    }
  }

  function drawSpans() {
    for (const span of data.spans) {
      const [a, b] = [Math.max(LEFT, x(span.from_ms)), Math.min(width - RIGHT, x(span.until_ms ?? until))];
      if (b < LEFT || a > width - RIGHT) continue;
      const wide = Math.max(2, b - a);
      const group = add(svg, "g", { class: "span" });
      add(group, "title", {}, `${span.label} from ${spoken(span.from_ms, zone)}${span.until_ms ? ` until ${spoken(span.until_ms, zone)}` : ", still"}`);
      add(group, "rect", { class: "span-area", x: a, y: 20, width: wide, height: height - BOTTOM - 20 });
      add(group, "rect", { class: "span-cap", x: a, y: 20, width: wide, height: 5 });
      if (wide > span.label.length * 6.4) add(group, "text", { x: a + 2, y: 15 }, span.label);
    }
  }

  function drawMarks() {
    for (const mark of data.marks) {
      const px = x(mark.at_ms);
      if (px < LEFT || px > width - RIGHT) continue;
      const group = add(svg, "g", { class: "mark", "data-mark": mark.id });
      add(group, "title", {}, `${mark.label}: ${mark.text}`);
      add(group, "line", { class: "mark-line", x1: px, x2: px, y1: 32, y2: height - BOTTOM });
      add(group, "path", { class: "mark-flag", d: mark.kind === "feed" ? `M${px - 6} 27h12l-6 9z` : `M${px - 4} 32a4 4 0 1 0 8 0a4 4 0 1 0 -8 0` });
    }
  }

  function drawLegend() {
    legend.replaceChildren(...panels.flatMap((panel) => panel.channels.map(([name, label, style]) => {
      const item = document.createElement("li");
      const key = add(item, "svg", { viewBox: "0 0 34 10", "aria-hidden": "true" });
      add(key, "line", { class: `line k${style}`, x1: 0, x2: 34, y1: 5, y2: 5 });
      const value = document.createElement("b");
      value.textContent = worded(valueOf(name, cursor), panel.unit, fahrenheit);
      item.append(label, " ", value);
      return item;
    })));
  }

  function valueOf(name, time) {
    const { mean } = data.channels[name];
    if (time !== null) return mean[indexAt(time)];
    for (let n = indexAt(until); n >= indexAt(from); n--) if (mean[n] !== null) return mean[n];
    return null;
  }

  function drawCursor() {
    if (cursor === null || cursor < from || cursor > until) return;
    add(svg, "line", { class: "cursor", x1: x(cursor), x2: x(cursor), y1: TOP - 4, y2: height - BOTTOM });
  }

  function about() {
    return `Curves from ${spoken(from, zone)} to ${spoken(until, zone)}. Arrows move, plus and minus zoom, Home shows all, comma and full stop step through the values.`;
  }

  function read(time, aloud = true) {
    cursor = time;
    for (const old of svg.querySelectorAll(".cursor")) old.remove();
    drawCursor(); drawLegend();
    if (time === null) { reading.textContent = ""; return; }
    const near = data.marks.filter((mark) => Math.abs(x(mark.at_ms) - x(time)) < 14).map((mark) => `${mark.label}: ${mark.text}`);
    const values = panels.flatMap((panel) => panel.channels.map(([name, label]) => `${label} ${worded(valueOf(name, time), panel.unit, fahrenheit)}`));
    reading.textContent = [spoken(time, zone), ...near, ...(aloud ? values : [])].join(" · ");
  }

  let stop = () => {};
  const api = {
    range: () => [from, until],
    at,
    read,
    step(by) {
      const now = cursor ?? (by > 0 ? from : until);
      read(data.start_ms + (Math.max(indexAt(from), Math.min(indexAt(until), indexAt(now) + by)) + 0.5) * data.step_ms);
    },
    setRange(newFrom, newUntil, newData = null, quiet = false) {
      const span = Math.max(SPAN_LEAST, newUntil - newFrom);
      [from, until] = [newFrom, newFrom + span];
      if (newData) data = { ...newData, from, until };
      draw();
      if (!quiet && events.ranged) events.ranged(from, until);
    },
    // Put a new reading into its step; the picture moves along when it shows the present.
    append(time, values) {
      const needed = Math.floor((time - data.start_ms) / data.step_ms) + 1;
      if (needed < 1 || needed > data.points + 5000) return;
      for (const [name, value] of Object.entries(values)) {
        const band = data.channels[name] ??= { low: [], mean: [], high: [] };
        for (const column of Object.values(band)) while (column.length < Math.max(needed, data.points)) column.push(null);
        const n = needed - 1;
        band.low[n] = Math.min(band.low[n] ?? value, value);
        band.high[n] = Math.max(band.high[n] ?? value, value);
        band.mean[n] = value;
      }
      data.points = Math.max(data.points, needed);
      for (const band of Object.values(data.channels)) for (const column of Object.values(band)) while (column.length < data.points) column.push(null);
      if (time > until && time - until < (until - from) / 4) { from += time - until; until = time; }
      draw();
    },
    home: () => events.home && events.home(),
  };
  new ResizeObserver(() => { if (Math.abs(root.clientWidth - width) > 1) draw(); }).observe(root);
  draw();
  return api;
}
