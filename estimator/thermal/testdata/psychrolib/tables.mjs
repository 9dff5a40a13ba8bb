// Prints what psychrolib says about air: rows of saturation pressure, humidity ratio and wet bulb as JSON. Input on
// standard input: {"dry":[...],"dew":[...],"pressure":[...]} in °C and Pa. Its range ends at 200 °C.
import psychrolib from "psychrolib";
import { readFileSync } from "node:fs";

psychrolib.SetUnitSystem(psychrolib.SI);
const { dry, dew, pressure } = JSON.parse(readFileSync(0, "utf8"));
const saturation = dry.map((t) => ({ t, pascal: psychrolib.GetSatVapPres(t) }));
const air = [];
for (const p of pressure) {
  for (const t of dry) {
    for (const d of dew.filter((d) => d < t)) {
      const ratio = psychrolib.GetHumRatioFromTDewPoint(d, p);
      air.push({ p, t, d, ratio, wet: psychrolib.GetTWetBulbFromTDewPoint(t, d, p) });
    }
  }
}
process.stdout.write(JSON.stringify({ saturation, air }));
