import { keepFresh } from "./fresh.js";

keepFresh(() => {});
