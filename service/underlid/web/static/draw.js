// Draws one panel of the chart into its SVG: grid, spans, curves, marks. `chart.js` owns the panels.

import { areaPath, linePath } from "./curve.js";
import { levels, spoken } from "./ticks.js";
import { number, scale } from "./words.js";

export const LEFT = 38;
export const RIGHT = 10;
const AXIS = 20; // room for the times below
const FLAGS = 20; // room for the flags above the first panel
const TOP = 6;
const HIGH = { tall: 180, low: 92 };
const LEVEL_PX = 34;
const SVG = "http://www.w3.org/2000/svg";

/** Return a new SVG element. */
export function svg(name, attributes = {}, text = "") {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  if (text) element.textContent = text;
  return element;
}

/** Return the class that gives a channel's curve its colour and dashes. */
export function shapeOf(channel) {
  return `c-${channel.replaceAll("_", "-")}`;
}

/** Draw `panel`; `view` is {data, from, until, width, zone, units, x, ticks, extent}. */
export function drawPanel(panel, view) {
  const room = panel.first ? FLAGS : 0;
  const bottom = room + (panel.tall ? HIGH.tall : HIGH.low);
  const [low, high] = panel.span(view.extent);
  const box = {
    room, bottom, right: view.width - RIGHT, low,
    y: (value) => bottom - ((value - low) / (high - low)) * (bottom - room - TOP),
  };
  panel.svg.setAttribute("viewBox", `0 0 ${view.width} ${bottom + AXIS}`);
  panel.svg.setAttribute("height", bottom + AXIS);
  panel.bottom = bottom;
  panel.cursor = svg("path", { class: "cursor" });
  const [areas, words] = spans(panel, view, box);
  panel.svg.replaceChildren(
    ...areas,
    ...grid(panel, view, box, low, high),
    ...curves(panel, view, box),
    ...present(panel, view, box),
    ...marks(panel, view, box),
    ...words,
    panel.cursor,
  );
}

function grid(panel, view, { room, bottom, right, y }, low, high) {
  const { out, back } = scale(panel.lines[0], view.units);
  const drawn = [];
  const { found, decimals } = levels(out(low), out(high), (bottom - room) / LEVEL_PX);
  for (const level of found) {
    const at = y(back(level));
    drawn.push(svg("path", { class: "grid", d: `M${LEFT} ${at.toFixed(1)}H${right}` }));
    drawn.push(svg("text", { x: LEFT - 6, y: (at + 4).toFixed(1), "text-anchor": "end" }, number(level, decimals)));
  }
  for (const tick of view.ticks) {
    const at = view.x(tick.at);
    drawn.push(svg("path", { class: tick.day ? "grid day" : "grid", d: `M${at.toFixed(1)} ${room}V${bottom}` }));
    if (at > LEFT + 8 && at < view.width - 22) {
      drawn.push(svg("text", { x: at.toFixed(1), y: bottom + 15, "text-anchor": "middle" }, tick.text));
    }
  }
  return drawn;
}

function curves(panel, view, { room, bottom, right, y, low }) {
  const { data, from, until, x } = view;
  const clip = svg("clipPath", { id: `inside-${panel.lines[0]}` });
  clip.append(svg("rect", { x: LEFT, y: room, width: Math.max(0, right - LEFT), height: bottom - room }));
  const group = svg("g", { "clip-path": `url(#inside-${panel.lines[0]})` });
  if (panel.target !== null) {
    group.append(svg("path", { class: "target", d: `M${LEFT} ${y(panel.target).toFixed(1)}H${right}` }));
  }
  for (const channel of panel.lines) {
    const columns = data.channels[channel];
    const [lows, highs] = panel.fill ? [null, columns.mean] : [columns.low, columns.high];
    const shape = shapeOf(channel);
    group.append(
      svg("path", { class: `band ${shape}`, d: areaPath(data, lows, highs, from, until, x, y, low) }),
      svg("path", { class: `line ${shape}`, d: linePath(data, columns.mean, from, until, x, y) }),
    );
  }
  for (const channel of panel.lines) {
    const ahead = data.forecast?.channels[channel];
    if (!ahead) continue;
    const shape = shapeOf(channel);
    group.append(
      svg("path", { class: `band ahead ${shape}`, d: areaPath(data.forecast, ahead.low, ahead.high, from, until, x, y, low) }),
      svg("path", { class: `line ahead ${shape}`, d: linePath(data.forecast, ahead.mean, from, until, x, y) }),
    );
  }
  return [clip, group];
}

// Where the present ends and what is foreseen begins.
function present(panel, view, { room, bottom, right }) {
  const at = view.x(view.newest);
  if (!view.data.forecast || at < LEFT || at > right) return [];
  const drawn = [svg("path", { class: "now", d: `M${at.toFixed(1)} ${room}V${bottom}` })];
  const middle = ((at + right) / 2).toFixed(1);
  if (panel.first && right - at > 36) drawn.push(svg("text", { x: middle, y: bottom - 5, "text-anchor": "middle" }, "foreseen"));
  return drawn;
}

function spans(panel, view, { room, bottom, right }) {
  const drawn = [];
  const words = []; // over the curves, so that they can be read
  for (const span of panel.spans) {
    const left = Math.max(LEFT, view.x(span.from_ms));
    const end = Math.min(right, view.x(span.until_ms ?? (span.foreseen ? view.until : Math.max(view.newest, span.from_ms))));
    if (end < LEFT || left > right) continue;
    const width = Math.max(3, end - left).toFixed(1);
    const group = svg("g", { class: span.foreseen ? "span foreseen" : "span" });
    const still = span.foreseen ? "" : ", still";
    const when = `${spoken(span.from_ms, view.zone)}${span.until_ms ? ` until ${spoken(span.until_ms, view.zone)}` : still}`;
    group.append(
      svg("title", {}, `${span.label} from ${when}`),
      svg("rect", { class: "span-area", x: left.toFixed(1), y: room, width, height: bottom - room }),
      svg("rect", { class: "span-cap", x: left.toFixed(1), y: room, width, height: 4 }),
    );
    if (width > span.label.length * 6.6 + 6) words.push(svg("text", { x: left + 4, y: room + 17 }, span.label));
    drawn.push(group);
  }
  return [drawn, words];
}

function marks(panel, view, { room, bottom, right }) {
  const drawn = [];
  let free = -Infinity;
  const all = view.data.marks ?? [];
  for (const [place, mark] of all.entries()) {
    const at = view.x(mark.at_ms);
    if (at < LEFT || at > right) continue;
    const px = at.toFixed(1);
    const isFeed = mark.kind === "feed";
    if (!panel.first) {
      if (isFeed) drawn.push(svg("path", { class: "mark-line", d: `M${px} ${room}V${bottom}` }));
      continue;
    }
    const group = svg("g", { class: isFeed ? "mark feed" : "mark", "data-mark": mark.id });
    group.append(
      svg("title", {}, `${spoken(mark.at_ms, view.zone)}, ${mark.label}: ${mark.text}`),
      svg("path", { class: "mark-line", d: `M${px} ${room - 6}V${bottom}` }),
      isFeed
        ? svg("path", { class: "mark-flag", d: `M${(at - 6).toFixed(1)} 4h12q-.5 10-6 11q-5.5-1-6-11Z` })
        : svg("circle", { class: "mark-flag", cx: px, cy: 10, r: 4 }),
    );
    const wide = mark.label.length * 6.2 + 14;
    const next = place + 1 < all.length ? view.x(all[place + 1].at_ms) - 8 : Infinity;
    if (at > free && at + wide < Math.min(right, next)) {
      group.append(svg("text", { x: (at + 9).toFixed(1), y: 14 }, mark.label));
      free = at + wide;
    } else {
      free = Math.max(free, at + 8);
    }
    drawn.push(group);
  }
  return drawn;
}
