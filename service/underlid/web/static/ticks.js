// Where the marks of a time axis stand: whole wall-clock steps of one time zone, over clock changes.
const MINUTE = 60_000, HOUR = 60 * MINUTE, DAY = 24 * HOUR;
const STEPS = [5 * MINUTE, 15 * MINUTE, 30 * MINUTE, HOUR, 2 * HOUR, 3 * HOUR, 6 * HOUR, 12 * HOUR,
  DAY, 2 * DAY, 7 * DAY, 14 * DAY, 28 * DAY, 91 * DAY, 182 * DAY, 364 * DAY];
const TICKS_MOST = 64;
const formats = new Map();

function parts(zone) {
  if (!formats.has(zone)) {
    formats.set(zone, new Intl.DateTimeFormat("en-GB", { timeZone: zone, hourCycle: "h23",
      year: "numeric", month: "numeric", day: "numeric", hour: "numeric", minute: "numeric", second: "numeric" }));
  }
  return formats.get(zone);
}

// Milliseconds that the zone's wall clock shows at `at`, counted as if it were UTC.
export function wall(at, zone) {
  const seen = {};
  for (const { type, value } of parts(zone).formatToParts(at)) seen[type] = Number(value);
  return Date.UTC(seen.year, seen.month - 1, seen.day, seen.hour, seen.minute, seen.second)
    + (((at % 1000) + 1000) % 1000);
}

// The instant at which the wall clock shows `shown`; null when it skips that time.
export function instant(shown, zone) {
  let at = shown - (wall(shown, zone) - shown);
  at = shown - (wall(at, zone) - at);
  return wall(at, zone) === shown ? at : null;
}

// Marks from `from` to `until`, at most `most`: [{at, text, day}].
export function ticks(from, until, most, zone) {
  const limit = Math.min(most, TICKS_MOST);
  const step = STEPS.find((one) => (until - from) / one <= limit) ?? STEPS[STEPS.length - 1];
  const first = Math.floor(wall(from, zone) / step) * step;
  const found = [];
  for (let shown = first; found.length < TICKS_MOST; shown += step) {
    const at = instant(shown, zone);
    if (at === null) { if (shown > wall(until, zone)) break; continue; }
    if (at > until) break;
    if (at >= from) found.push({ at, ...label(shown, step) });
  }
  return found;
}

const DAYS = ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"];
const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

function label(shown, step) {
  const at = new Date(shown);
  const midnight = shown % DAY === 0;
  if (step >= 28 * DAY) return { text: `${MONTHS[at.getUTCMonth()]} ${at.getUTCFullYear()}`, day: true };
  if (midnight) {
    const date = `${at.getUTCDate()} ${MONTHS[at.getUTCMonth()]}`;
    return { text: step > DAY ? date : `${DAYS[at.getUTCDay()]} ${at.getUTCDate()}`, day: true };
  }
  return { text: at.toISOString().slice(11, 16), day: false };
}

export function spoken(at, zone) {
  const shown = new Date(wall(at, zone));
  return `${DAYS[shown.getUTCDay()]} ${shown.getUTCDate()} ${MONTHS[shown.getUTCMonth()]}, ${shown.toISOString().slice(11, 16)}`;
}
