// Ticks of both axes. Times step along the wall clock of the shed, so that a tick stays on the full
// hour over a change of the clocks. Pure functions; `chart.js` draws what they return.

const MINUTE = 60_000;
const HOUR = 60 * MINUTE;
const DAY = 24 * HOUR;
const STEPS = [5 * MINUTE, 15 * MINUTE, 30 * MINUTE, HOUR, 2 * HOUR, 3 * HOUR, 6 * HOUR, 12 * HOUR, DAY, 2 * DAY, 7 * DAY];
const MONTH_STEPS = [1, 2, 3, 6, 12, 24, 60];
const MONTH = 30.44 * DAY;
const MONDAY = 4 * DAY; // 5 January 1970 was a Monday
const DAYS = ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"];
const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

const formats = new Map();

function format(zone) {
  if (!formats.has(zone)) {
    formats.set(zone, new Intl.DateTimeFormat("en-GB", {
      timeZone: zone, hourCycle: "h23", year: "numeric", month: "numeric", day: "numeric",
      hour: "numeric", minute: "numeric", second: "numeric",
    }));
  }
  return formats.get(zone);
}

/** Return what the wall clock of `zone` shows at `at`, as if it were UTC. */
export function wallOf(at, zone) {
  const parts = {};
  for (const { type, value } of format(zone).formatToParts(at)) parts[type] = Number(value);
  return Date.UTC(parts.year, parts.month - 1, parts.day, parts.hour, parts.minute, parts.second);
}

/** Return when the wall clock of `zone` shows `wall`; null when it never does (clocks go forward). */
export function whenIs(wall, zone) {
  let at = wall - (wallOf(wall, zone) - wall);
  at = wall - (wallOf(at, zone) - at);
  if (wallOf(at, zone) === wall) return at;
  const back = at - (wallOf(at, zone) - wall);
  return wallOf(back, zone) === wall ? back : null;
}

/** Return at most `most` ticks in [from, until]: `at`, its `text`, and whether it begins a day. */
export function ticks(from, until, most, zone) {
  const span = until - from;
  const step = STEPS.find((one) => span / one <= most);
  const first = wallOf(from, zone);
  const last = wallOf(until, zone) + HOUR;
  const walls = step ? even(first, last, step) : months(first, last, span, most);
  const found = [];
  for (const wall of walls) {
    const at = whenIs(wall, zone);
    if (at !== null && at >= from && at <= until) {
      found.push({ at, text: timeLabel(wall, step), day: wall % DAY === 0 });
    }
  }
  return found;
}

function even(first, last, step) {
  const origin = step > DAY ? MONDAY : 0;
  const walls = [];
  for (let wall = Math.floor((first - origin) / step) * step + origin; wall <= last; wall += step) walls.push(wall);
  return walls;
}

function months(first, last, span, most) {
  const step = MONTH_STEPS.find((one) => span / (one * MONTH) <= most) ?? 120;
  const begin = new Date(first);
  const walls = [];
  for (let number = Math.floor((begin.getUTCFullYear() * 12 + begin.getUTCMonth()) / step) * step; ; number += step) {
    const wall = Date.UTC(Math.floor(number / 12), number % 12, 1);
    if (wall > last) return walls;
    walls.push(wall);
  }
}

function timeLabel(wall, step) {
  const date = new Date(wall);
  const day = date.getUTCDate();
  const month = MONTHS[date.getUTCMonth()];
  if (!step) return date.getUTCMonth() === 0 ? String(date.getUTCFullYear()) : month;
  if (wall % DAY !== 0) return clock(date);
  return step > DAY || day === 1 ? `${day} ${month}` : `${DAYS[date.getUTCDay()]} ${day}`;
}

function clock(date) {
  return `${String(date.getUTCHours()).padStart(2, "0")}:${String(date.getUTCMinutes()).padStart(2, "0")}`;
}

/** Return day and time of `at` on the wall clock of `zone`. */
export function spoken(at, zone) {
  const date = new Date(wallOf(at, zone));
  return `${DAYS[date.getUTCDay()]} ${date.getUTCDate()} ${MONTHS[date.getUTCMonth()]}, ${clock(date)}`;
}

/** Return round values inside [low, high], at most about `most` of them, and the decimals they need. */
export function levels(low, high, most) {
  const rough = (high - low) / Math.max(1, most);
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = power * [1, 2, 5, 10].find((one) => one * power >= rough * 0.999);
  const found = [];
  for (let number = Math.ceil(low / step - 1e-9); number * step <= high + step * 1e-9; number += 1) {
    found.push(Number((number * step).toPrecision(12)));
  }
  return { found, decimals: Math.max(0, -Math.floor(Math.log10(step) + 1e-9)) };
}
