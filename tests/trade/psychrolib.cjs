// A grid of air by psychrolib, an independent implementation of the ASHRAE formulas: one JSON array a line,
// [dry bulb °C, humidity %, wet bulb °C, dew point °C, humidity ratio]. Usage: node psychrolib.cjs FOLDER-OF-MODULES
const lib = require(process.argv[2] + "/psychrolib");
lib.SetUnitSystem(lib.SI);
for (let i = 0; i < 50; ++i) {
  for (let j = 0; j < 40; ++j) {
    const t = 12 + i * 0.66;
    const rh = 12 + j * 2.2;
    const [ratio, wet, dew] = lib.CalcPsychrometricsFromRelHum(t, rh / 100, 101325);
    console.log(JSON.stringify([t, rh, wet, dew, ratio]));
  }
}
