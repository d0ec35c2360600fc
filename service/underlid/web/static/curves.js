// The curves on the bin page: the first view stands in the page, others are fetched as they are needed.

import { make } from "./chart.js";

const SETTLED_MS = 120; // after the last movement; the old picture stays meanwhile
const DAY_MS = 86_400_000;
const AROUND = 0.5; // fetched beyond either edge, as a share of the view
const COARSE_PX = 2; // steps wider than this on the screen are fetched finer
const POINTS_MOST = 2000;
const RANGES = [["Day", 1], ["Week", 7], ["Month", 30], ["Year", 365]];

/** Draw the page's data into `root`; return {append, renew} for what happens later. */
export function begin(root, bin) {
  const data = JSON.parse(document.getElementById("chart-data").textContent);
  let held = data;
  let settled = 0;
  let asked = 0;
  let since = null; // what comes while an answer is on its way, which may not hold it
  const chart = make(root, data, {
    ranged() {
      clearTimeout(settled);
      settled = setTimeout(renew, SETTLED_MS, false);
    },
  });
  root.before(rangeButtons(chart));
  const end = Number(new URLSearchParams(location.search).get("until")); // a spell's link from looking back
  if (end > 0 && end < chart.newest) chart.setRange(end - 7 * DAY_MS, end);

  async function fill(always = false) {
    const [from, until] = chart.range();
    const span = until - from;
    const wide = Math.min(POINTS_MOST / 2, Math.max(200, Math.round(root.clientWidth)));
    const end = held.start_ms + held.points * held.step_ms;
    const covered = held.start_ms <= from && end >= Math.min(until, chart.newest);
    if (!always && covered && held.step_ms <= (span / wide) * COARSE_PX) return;
    asked += 1;
    since = [];
    const mine = asked;
    const query = new URLSearchParams({
      from: new Date(Math.max(0, from - span * AROUND)).toISOString(),
      until: new Date(until + span * AROUND).toISOString(),
      points: String(2 * wide),
    });
    const answer = await fetch(`/api/v1/bins/${encodeURIComponent(bin)}/series?${query}`);
    if (!answer.ok || mine !== asked) return;
    const { start, step_s: step, points, channels, marks, spans, forecast } = await answer.json();
    held = { start_ms: Date.parse(start), step_ms: step * 1000, points, channels, marks, spans, forecast };
    chart.replace(held);
    for (const [at, values] of since) chart.append(at, values);
    since = null;
  }

  function renew(always) {
    fill(always).catch(() => undefined); // the next change tries again
  }

  return {
    append: (event) => {
      since?.push([event.at_ms, event.values]);
      chart.append(event.at_ms, event.values);
    },
    renew: () => renew(true),
  };
}

function rangeButtons(chart) {
  const row = document.createElement("p");
  row.className = "ranges";
  for (const [word, days] of RANGES) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "quiet";
    button.textContent = word;
    button.setAttribute("aria-pressed", String(days === 7));
    button.addEventListener("click", () => {
      const end = Math.max(chart.range()[0] + DAY_MS / 48, Math.min(chart.range()[1], chart.newest));
      const ahead = end >= chart.newest ? chart.ahead(days * DAY_MS) : 0;
      chart.setRange(end - days * DAY_MS, end + ahead);
      for (const one of row.children) one.setAttribute("aria-pressed", String(one === button));
    });
    row.append(button);
  }
  return row;
}
