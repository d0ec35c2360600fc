// Which curves stand together, and how far each panel's values reach.

const KNOWN = [
  {
    title: "Temperature", tall: true, conditions: ["overheating", "too_cold"], least: 4,
    lines: ["bed_temp_c", "headspace_temp_c", "lid_temp_c", "dew_point_c", "shed_temp_c"],
  },
  { title: "The bed's own warmth", conditions: [], lines: ["self_heat_k"], least: 3 },
  { title: "Water on the lid", conditions: ["condensation"], lines: ["lid_film_g_m2"], fill: true, floor: 0, least: 30 },
  { title: "Humidity", conditions: ["condensation"], lines: ["headspace_rh_pct", "shed_rh_pct"], least: 10, ceiling: 100 },
  {
    title: "Bed moisture", conditions: ["drying_out", "too_wet", "sour"], lines: ["moisture_pct"], least: 8,
    floor: 0, ceiling: 100, aim: true,
  },
  { title: "Bin mass", conditions: ["hungry"], lines: ["bin_mass_kg"], least: 0.5 },
];
const NOT_DRAWN = new Set(["soil_raw", "soil_index", "battery_v", "rssi_dbm", "lid_margin_k"]);
const OTHERS_MOST = 6; // channels that are not judged; more would bury the page

/** Return the panels that `data` fills: known ones in their order, then every other channel. */
export function panelsOf(data) {
  const there = Object.keys(data.channels);
  const taken = new Set(KNOWN.flatMap((panel) => panel.lines));
  const panels = KNOWN.map((panel) => ({ ...panel, lines: panel.lines.filter((line) => there.includes(line)) }));
  for (const line of there.filter((one) => !taken.has(one) && !NOT_DRAWN.has(one)).sort().slice(0, OTHERS_MOST)) {
    panels.push({ title: "", conditions: [], lines: [line], least: 0.01 });
  }
  const filled = panels.filter((panel) => panel.lines.length);
  const shown = new Set(filled.flatMap((panel) => panel.conditions));
  filled.forEach((panel, place) => {
    panel.first = place === 0;
    panel.target = panel.aim ? data.target_pct ?? null : null;
    panel.span = (extent) => spanOf(panel, extent);
    panel.spans = (data.spans ?? []).filter(
      ({ condition }) => panel.conditions.includes(condition) || (panel.first && !shown.has(condition)),
    );
  });
  return filled;
}

/** Return [low, high] of a panel's axis: the values with some air around them, never too narrow. */
function spanOf(panel, extent) {
  const floor = panel.floor ?? -Infinity;
  let [low, high] = extent ?? [panel.floor ?? 0, (panel.floor ?? 0) + panel.least];
  if (panel.target !== null) [low, high] = [Math.min(low, panel.target), Math.max(high, panel.target)];
  const lacking = Math.max(0, panel.least - (high - low)) / 2;
  const air = (high - low + 2 * lacking) * 0.06;
  low = panel.fill ? panel.floor : Math.max(floor, low - lacking - air);
  high = Math.min(panel.ceiling ?? Infinity, high + lacking + air);
  return [low, Math.max(high, low + panel.least)];
}
