import { drawCurve } from "./curve.js";

drawCurve(document.getElementById("curve"));
