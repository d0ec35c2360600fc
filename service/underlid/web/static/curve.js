// Paths of a chart: a line with gaps, and the area between the lowest and the highest values.
// Coordinates come in as functions; nothing here touches the page.

const GAP_STEPS = 3; // a line is drawn over up to two missing steps; more is a gap

/** Return the index range of `columns` that [from, until] needs, one step more on either side. */
export function within(data, from, until) {
  const first = Math.max(0, Math.floor((from - data.start_ms) / data.step_ms) - 1);
  const last = Math.min(data.points, Math.ceil((until - data.start_ms) / data.step_ms) + 2);
  return [first, Math.max(first, last)];
}

/** Return the path of a line through the middle of each step. */
export function linePath(data, values, from, until, x, y) {
  const [first, last] = within(data, from, until);
  let path = "";
  let before = -Infinity;
  for (let index = first; index < last; index += 1) {
    const value = values[index];
    if (value === null || value === undefined) continue;
    const at = x(data.start_ms + (index + 0.5) * data.step_ms);
    path += `${index - before < GAP_STEPS ? "L" : "M"}${at.toFixed(1)} ${y(value).toFixed(1)}`;
    if (index - before >= GAP_STEPS) path += "h.01"; // a lonely point is seen as a dot
    before = index;
  }
  return path;
}

/** Return the closed path between two columns; null for `low` means down to `floor`. */
export function areaPath(data, low, high, from, until, x, y, floor) {
  const [first, last] = within(data, from, until);
  let path = "";
  let run = [];
  const finish = () => {
    if (run.length > 1) {
      const top = run.map((index) => point(data, high[index], index, x, y));
      const bottom = run.reverse().map((index) => point(data, low ? low[index] : floor, index, x, y));
      path += `M${top.join("L")}L${bottom.join("L")}Z`;
    }
    run = [];
  };
  for (let index = first; index < last; index += 1) {
    const there = high[index] !== null && high[index] !== undefined;
    if (there && run.length && index - run[run.length - 1] >= GAP_STEPS) finish();
    if (there) run.push(index);
  }
  finish();
  return path;
}

function point(data, value, index, x, y) {
  return `${x(data.start_ms + (index + 0.5) * data.step_ms).toFixed(1)} ${y(value).toFixed(1)}`;
}

/** Return [lowest, highest] of several channels in [from, until], what is foreseen included, or null. */
export function reach(data, channels, from, until) {
  const both = [extent(data, channels, from, until), data.forecast && extent(data.forecast, channels, from, until)];
  const [first, second] = both.filter(Boolean);
  return second ? [Math.min(first[0], second[0]), Math.max(first[1], second[1])] : first ?? null;
}

/** Return the lowest and highest value of several channels in [from, until], or null. */
export function extent(data, channels, from, until) {
  const [first, last] = within(data, from, until);
  let low = Infinity;
  let high = -Infinity;
  for (const name of channels) {
    const columns = data.channels[name];
    for (let index = first; columns && index < last; index += 1) {
      if (columns.mean[index] === null || columns.mean[index] === undefined) continue;
      low = Math.min(low, columns.low[index] ?? columns.mean[index]);
      high = Math.max(high, columns.high[index] ?? columns.mean[index]);
    }
  }
  return low <= high ? [low, high] : null;
}
