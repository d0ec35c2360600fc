// The curves of a bin: panels over one time axis, each an SVG with its key and values above it.
//
//   const chart = make(root, data, events)   -> { setRange, append, replace, range, home }
//
// `root` is an empty element with data-timezone and data-units; `data` is what the page and the series
// address give; events.ranged(from, until) is called when the view has changed. Panels are chosen in
// `panels.js` and drawn in `draw.js`; fingers and keys are in `gestures.js`.

import { reach } from "./curve.js";
import { LEFT, RIGHT, drawPanel, shapeOf, svg } from "./draw.js";
import { listen } from "./gestures.js";
import { panelsOf } from "./panels.js";
import { spoken, ticks } from "./ticks.js";
import { label, scale, text } from "./words.js";

const TICK_PX = 52;
const NEAR_PX = 14; // a mark this near to the cursor is read with it
const SHORTEST_MS = 30 * 60_000;
const LONGEST_MS = 4000 * 86_400_000;
const AHEAD_MS = 36 * 3_600_000; // of what is foreseen, shown at first
const AHEAD = 0.5; // of the view may be empty future

/** Draw `data` into `root`. */
export function make(root, data, events = {}) {
  return new Chart(root, data, events);
}

class Chart {
  constructor(root, data, events) {
    this.root = root;
    this.data = data;
    this.events = events;
    this.zone = root.dataset.timezone || "UTC";
    this.units = root.dataset.units || "si";
    this.from = data.from;
    this.until = data.until + this.ahead(Infinity);
    this.newest = data.until;
    this.firstSpan = data.until - data.from;
    this.at = null;
    this.body = element("div", "curves-body");
    this.body.tabIndex = 0;
    this.body.setAttribute("role", "application");
    this.body.setAttribute("aria-roledescription", "curves");
    this.said = element("p", "reading");
    this.said.setAttribute("aria-live", "polite");
    root.replaceChildren(this.said, this.body);
    listen(this.body, this.view());
    this.build();
    new ResizeObserver(() => this.soon()).observe(root);
    this.soon();
  }

  /** Return what is in view. */
  range() {
    return [this.from, this.until];
  }

  /** Show [from, until]; `quiet` when the data for it has just been put in. */
  setRange(from, until, quiet = false) {
    const span = Math.min(LONGEST_MS, Math.max(SHORTEST_MS, until - from));
    const end = Math.min((from + until + span) / 2, this.newest + span * AHEAD);
    this.from = end - span;
    this.until = end;
    this.soon();
    if (!quiet) this.events.ranged?.(this.from, this.until);
  }

  /** Go back to the present, as wide as at first. */
  home() {
    this.setRange(this.newest - this.firstSpan, this.newest + this.ahead(Infinity));
  }

  /** Return how much of what is foreseen is shown beside `span` of what was measured. */
  ahead(span) {
    return this.data.forecast ? Math.min(AHEAD_MS, span * AHEAD) : 0;
  }

  /** Put other data in; the view stays. */
  replace(data) {
    this.data = { ...this.data, ...data };
    this.build();
    this.soon();
  }

  /** Add values that have just come; the view moves along when it shows the present. */
  append(at, values) {
    const { data } = this;
    const index = Math.floor((at - data.start_ms) / data.step_ms);
    if (index < 0 || index > data.points + 2000) return;
    let isNew = false;
    for (const [channel, value] of Object.entries(values)) {
      isNew ||= !(channel in data.channels);
      const band = (data.channels[channel] ??= { low: [], mean: [], high: [] });
      band.low[index] = Math.min(band.low[index] ?? value, value);
      band.high[index] = Math.max(band.high[index] ?? value, value);
      band.mean[index] = value;
    }
    data.points = Math.max(data.points, index + 1);
    if (at > this.newest) {
      const shift = at - this.newest;
      if (this.until >= this.newest && this.until - this.newest < data.step_ms * 2 + (data.forecast ? AHEAD_MS : 0)) {
        this.from += shift;
        this.until += shift;
      }
      this.newest = at;
    }
    if (isNew) this.build();
    this.soon();
  }

  view() {
    const width = () => Math.max(1, this.width - LEFT - RIGHT);
    const share = (clientX) => (clientX - this.body.getBoundingClientRect().left - LEFT) / width();
    return {
      share,
      at: (clientX) => this.from + share(clientX) * (this.until - this.from),
      range: () => this.range(),
      setRange: (from, until) => this.setRange(from, until),
      cursor: (at, aloud = false) => this.point(at, aloud),
      step: (by) => this.step(by),
      home: () => this.home(),
    };
  }

  build() {
    this.panels = panelsOf(this.data);
    if (!this.panels.length) {
      const none = element("p", "none");
      none.textContent = "Nothing was measured in this time.";
      this.body.replaceChildren(none);
      return;
    }
    this.body.replaceChildren(...this.panels.map((panel) => this.section(panel)));
  }

  section(panel) {
    const section = element("div", "panel");
    const head = element("div", "panel-head");
    const { unit } = scale(panel.lines[0], this.units);
    if (panel.title) {
      const title = element("h3");
      title.textContent = unit ? `${panel.title}, ${unit}` : panel.title;
      head.append(title);
    }
    const key = element("ul", "legend");
    panel.values = new Map();
    for (const channel of panel.lines) {
      const item = element("li");
      const sample = svg("svg", { viewBox: "0 0 34 10", "aria-hidden": "true" });
      sample.append(svg("path", { class: `line ${shapeOf(channel)}`, d: "M0 5H34" }));
      const value = element("b");
      item.append(sample, label(channel), " ", value);
      panel.values.set(channel, value);
      key.append(item);
    }
    head.append(key);
    panel.svg = svg("svg", { class: "plot", "aria-hidden": "true" });
    section.append(head, panel.svg);
    return section;
  }

  soon() {
    this.waiting ??= requestAnimationFrame(() => {
      this.waiting = null;
      this.draw();
    });
  }

  draw() {
    this.width = Math.round(this.body.clientWidth);
    if (this.width < 100) return;
    const { from, until, width, data, zone, units } = this;
    const x = (at) => LEFT + ((at - from) / (until - from)) * (width - LEFT - RIGHT);
    this.x = x;
    const times = ticks(from, until, Math.max(2, Math.floor((width - LEFT) / TICK_PX)), zone);
    for (const panel of this.panels) {
      drawPanel(panel, { data, from, until, newest: this.newest, width, zone, units, x, ticks: times, extent: reach(data, panel.lines, from, until) });
    }
    this.body.setAttribute("aria-label", `From ${spoken(from, zone)} to ${spoken(until, zone)}. Arrows move, plus and minus zoom, Home shows the present, comma and full stop step through the values.`);
    this.readOut();
  }

  point(at, aloud) {
    this.at = at === null ? null : Math.min(this.until, Math.max(this.from, at));
    this.readOut();
    this.said.textContent = this.at === null ? "" : this.words(aloud);
  }

  /** Step to the next step that holds a value, and say it. */
  step(by) {
    const { data } = this;
    const lines = this.panels.flatMap((panel) => panel.lines);
    const start = this.at ?? (by > 0 ? this.from : Math.min(this.until, this.newest + data.step_ms));
    let index = Math.min(data.points, Math.floor((start - data.start_ms) / data.step_ms));
    do index += by;
    while (index >= 0 && index < data.points && lines.every((name) => (data.channels[name].mean[index] ?? null) === null));
    if (index < 0 || index >= data.points) return;
    const at = data.start_ms + (index + 0.5) * data.step_ms;
    const half = (this.until - this.from) / 2;
    if (at < this.from || at > this.until) this.setRange(at - half, at + half);
    this.point(at, true);
  }

  words(aloud) {
    const near = (this.data.marks ?? []).filter((mark) => Math.abs(this.x(mark.at_ms) - this.x(this.at)) < NEAR_PX);
    const values = this.panels.flatMap((panel) => panel.lines.map((name) => `${label(name)} ${text(name, this.valueOf(name), this.units)}`));
    const said = [spoken(this.at, this.zone), ...near.map((mark) => `${mark.label}: ${mark.text}`), ...(aloud ? values : [])];
    return said.join(" · ");
  }

  valueOf(channel) {
    const { mean } = this.data.channels[channel];
    if (this.at === null) return mean.findLast((value) => value !== null && value !== undefined);
    const value = mean[Math.floor((this.at - this.data.start_ms) / this.data.step_ms)];
    return value === undefined && this.at > this.newest ? this.foreseenOf(channel) : value;
  }

  foreseenOf(channel) {
    const { start_ms: start, step_ms: step, channels } = this.data.forecast ?? { channels: {} };
    return channels[channel]?.mean[Math.floor((this.at - start) / step)];
  }

  readOut() {
    if (!this.x) return;
    const at = this.at === null ? "" : this.x(this.at).toFixed(1);
    for (const panel of this.panels) {
      panel.cursor?.setAttribute("d", at && `M${at} 0V${panel.bottom}`);
      for (const [channel, spot] of panel.values) spot.textContent = text(channel, this.valueOf(channel), this.units);
    }
  }
}

function element(name, className = "") {
  const made = document.createElement(name);
  if (className) made.className = className;
  return made;
}
