import { drawCurve } from "./curve.js";
import { keepFresh } from "./fresh.js";

keepFresh(() => drawCurve(document.getElementById("curve")));
