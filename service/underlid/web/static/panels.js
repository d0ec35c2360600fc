// Which channels stand together in one panel of the picture, how they are called and drawn.
export const PANELS = [
  { title: "Temperature", unit: "temp", least: 4, channels: [
    ["bed_temp_c", "Bed", 0], ["headspace_temp_c", "Headspace", 1], ["lid_temp_c", "Lid", 2],
    ["shed_temp_c", "Shed air", 3], ["dew_point_c", "Dew point", 4]] },
  { title: "Humidity", unit: "%", least: 10, channels: [
    ["headspace_rh_pct", "Headspace humidity", 1], ["shed_rh_pct", "Shed humidity", 3]] },
  { title: "Bed moisture", unit: "%", least: 6, channels: [["moisture_pct", "Moisture", 0]] },
  { title: "Lid film", unit: "g/m²", least: 20, floor: 0, channels: [["lid_film_g_m2", "Lid film", 4]] },
];

export function shownValue(value, unit, fahrenheit) {
  return unit === "temp" && fahrenheit ? value * 1.8 + 32 : value;
}

export function worded(value, unit, fahrenheit) {
  if (value === null || value === undefined || Number.isNaN(value)) return "–";
  if (unit === "temp") return `${shownValue(value, unit, fahrenheit).toFixed(1)} ${fahrenheit ? "°F" : "°C"}`.replace("-", "−");
  return `${value.toFixed(unit === "g/m²" ? 0 : 1)} ${unit}`;
}

// Whole steps of 1, 2 or 5 that give three to six lines between low and high.
export function levels(low, high) {
  const raw = (high - low) / 4;
  const power = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].map((one) => one * power).find((one) => one >= raw) ?? raw;
  const found = [];
  for (let at = Math.ceil(low / step) * step; at <= high + 1e-9; at += step) found.push(Number(at.toFixed(6)));
  return found;
}
