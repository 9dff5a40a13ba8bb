import { chromium } from "playwright-core";
const [base, dir, ...paths] = process.argv.slice(2);
const widths = (process.env.W || "390,768,1280").split(",").map(Number), lights = (process.env.L || "dark,light").split(",");
const b = await chromium.launch({ executablePath: "/usr/bin/chromium", args: ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"] });
for (const w of widths) for (const l of lights) {
  const c = await b.newContext({ viewport: { width: w, height: 844 }, colorScheme: l === "light" ? "light" : "dark" });
  if (l === "red") await c.addCookies([{ name: "stallkeeper-light", value: "red", url: base }]);
  const p = await c.newPage();
  p.on("console", (m) => { if (m.type() !== "log") console.log(w, l, m.text()); });
  p.on("pageerror", (e) => console.log(w, l, e.message));
  for (const path of paths) {
    await p.goto(base + path, { waitUntil: "load" });
    if (await p.locator("#curve").count()) await p.locator("#curve canvas").waitFor({ timeout: 5000 }).catch(() => console.log("no curve", path));
    if (process.env.OPEN) await p.evaluate(() => { for (const d of document.querySelectorAll("details")) d.open = true; });
    await p.waitForTimeout(300);
    await p.screenshot({ path: `${dir}/${path.replace(/[^a-z0-9]+/gi, "-")}${w}-${l}.png`, fullPage: !process.env.FOLD });
  }
  await c.close();
}
await b.close();
