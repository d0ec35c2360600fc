// How a channel is called and how its value is written, as on the server's side of the page.

const LABELS = {
  bed_temp_c: "Bed", headspace_temp_c: "Headspace", lid_temp_c: "Lid", shed_temp_c: "Shed air",
  dew_point_c: "Dew point", headspace_rh_pct: "Headspace humidity", shed_rh_pct: "Shed humidity",
  moisture_pct: "Bed moisture", lid_film_g_m2: "Lid film", lid_margin_k: "Lid margin",
  self_heat_k: "Self-heat", bin_mass_kg: "Bin mass", soil_raw: "Soil probe", soil_index: "Soil index",
  battery_v: "Battery", rssi_dbm: "Signal",
};
const UNITS = { lid_film_g_m2: "g/m²", soil_raw: "counts", battery_v: "V", rssi_dbm: "dBm", soil_index: "" };
const GRAMS_PER_POUND = 453.59237;

/** Return what a channel is called. */
export function label(channel) {
  return LABELS[channel] ?? channel.replaceAll("_", " ");
}

/** Return how `channel` is shown in `units` ("si" or "us"): unit, decimals, and both conversions. */
export function scale(channel, units) {
  if (channel.endsWith("_c")) {
    return units === "us"
      ? { unit: "°F", decimals: 0, out: (c) => c * 1.8 + 32, back: (f) => (f - 32) / 1.8 }
      : plain("°C", 1);
  }
  if (channel.endsWith("_k")) {
    return units === "us" ? { unit: "°F", decimals: 1, out: (k) => k * 1.8, back: (f) => f / 1.8 } : plain("°C", 1);
  }
  if (channel.endsWith("_kg")) {
    const pounds = GRAMS_PER_POUND / 1000;
    return units === "us" ? { unit: "lb", decimals: 1, out: (kg) => kg / pounds, back: (lb) => lb * pounds } : plain("kg", 2);
  }
  if (channel.endsWith("_pct")) return plain("%", 0);
  return plain(UNITS[channel] ?? "", channel === "lid_film_g_m2" || channel === "soil_raw" ? 0 : 2);
}

function plain(unit, decimals) {
  return { unit, decimals, out: (value) => value, back: (value) => value };
}

/** Return a value with its unit, "–" for none. */
export function text(channel, value, units) {
  if (value === null || value === undefined) return "–";
  const { unit, decimals, out } = scale(channel, units);
  return `${number(out(value), decimals)} ${unit}`.trim();
}

/** Return a number with a true minus sign and no negative zero. */
export function number(value, decimals) {
  const fixed = value.toFixed(decimals);
  return Number(fixed) === 0 ? fixed.replace("-", "") : fixed.replace("-", "−");
}
