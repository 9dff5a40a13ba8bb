// Walks through the pages of a served night with a real browser and reports what is wrong.
// node walk.mjs BASE PICTURES; the environment gives CHROMIUM (the browser), PATHS (the pages to look at), PIECE (the watch
// page to use) and ONLY (look or use, if not both). Exit status 1 with one line per finding.
import { chromium } from "playwright-core";
import fs from "node:fs";
import { createRequire } from "node:module";

const [base, pictures] = process.argv.slice(2);
const axe = fs.readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const findings = [];
const note = (where, text) => { findings.push(text); console.log(`${where}: ${text}`); };

const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM,
  args: ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"],
});

async function open(name, options = {}, cookies = []) {
  const context = await browser.newContext({ viewport: { width: 390, height: 844 }, colorScheme: "dark", ...options });
  if (cookies.length) await context.addCookies(cookies.map(([n, value]) => ({ name: n, value, url: base })));
  const page = await context.newPage();
  page.on("console", (m) => { if (["error", "warning"].includes(m.type())) note(name, `console: ${m.text()}`); });
  page.on("pageerror", (e) => note(name, `script: ${e.message}`));
  page.on("request", (r) => { if (!r.url().startsWith(base) && !r.url().startsWith("data:")) note(name, `asks for ${r.url()}`); });
  return page;
}

const paths = (process.env.PATHS || "/").split(" ");

async function judge(page, name) {
  await page.evaluate(axe);
  const result = await page.evaluate(() => globalThis.axe.run(document, { resultTypes: ["violations"] }));
  for (const v of result.violations) note(name, `axe ${v.id}: ${v.nodes.map((n) => n.html.slice(0, 120)).slice(0, 3).join(" | ")}`);
}

async function measure(page, name) {
  const layout = await page.evaluate(() => {
    const out = [];
    const over = document.documentElement.scrollWidth - innerWidth;
    if (over > 0) out.push(`${over} px wider than the screen`);
    for (const e of document.querySelectorAll("button, summary, select, input:not([type=hidden]), .button, nav a, .lane > a, .tap")) {
      let box = e.getBoundingClientRect();
      if (e.matches("[type=radio], [type=checkbox]")) box = e.closest("label").getBoundingClientRect();
      if (box.width && (box.height < 43.9 || box.width < 43.9)) out.push(`target of ${Math.round(box.width)}×${Math.round(box.height)} px: ${e.outerHTML.slice(0, 90)}`);
    }
    return out;
  });
  for (const l of layout) note(name, l);
}

// Every page is judged on a phone, dark and light, and on a wide screen; the first three in red too. The first page is
// pictured at every width and light.
async function look() {
  for (const width of [390, 768, 1280]) for (const light of ["dark", "light", "red"]) {
    const full = width === 390 || (width === 1280 && light === "dark");
    const page = await open(`${width} ${light}`, { viewport: { width, height: 844 }, colorScheme: light === "light" ? "light" : "dark" }, light === "red" ? [["stallkeeper-light", "red"]] : []);
    for (const path of full ? (light === "red" ? paths.slice(0, 3) : paths) : paths.slice(0, 1)) {
      const name = `${path} ${width} ${light}`;
      await page.goto(base + path, { waitUntil: "load" });
      if (await page.locator("#curve").count()) await page.locator("#curve canvas").waitFor({ timeout: 5000 }).catch(() => note(name, "no curve is drawn"));
      await page.screenshot({ path: `${pictures}/${path.replace(/[^a-z0-9]+/gi, "-")}${width}-${light}.png`, fullPage: true });
      await page.evaluate(() => { for (const d of document.querySelectorAll("details")) d.open = true; });
      await measure(page, name);
      if (full) await judge(page, name);
    }
    await page.context().close();
  }
}

// reach presses Tab until the element has the focus, as somebody without a pointer does.
async function reach(page, selector, name) {
  for (let i = 0; i < 120; i++) {
    if (await page.evaluate((s) => document.activeElement?.matches(s), selector)) {
      const seen = await page.evaluate(() => getComputedStyle(document.activeElement).outlineStyle !== "none");
      if (!seen) note(name, `${selector} does not show its focus`);
      return true;
    }
    await page.keyboard.press("Tab");
  }
  note(name, `Tab never reaches ${selector}`);
  return false;
}

async function says(page, selector, text, name) {
  await page.locator(selector, { hasText: text }).first().waitFor({ timeout: 8000 }).catch(() => note(name, `${selector} does not say "${text}"`));
}

async function byKeyboard() {
  const name = "keyboard";
  const page = await open(name);
  await page.goto(base + (process.env.PIECE || "/"), { waitUntil: "load" });
  await page.keyboard.press("Tab");
  if (!(await page.evaluate(() => document.activeElement.matches(".skip")))) note(name, "the first Tab does not offer to skip to the content");
  const before = await page.locator(".alarm").count();
  if (before && (await reach(page, ".alarm .main", name))) {
    await page.keyboard.press("Enter");
    await page.waitForFunction((n) => document.querySelectorAll(".alarm").length < n, before, { timeout: 8000 }).catch(() => note(name, "an alarm acknowledged by Enter stays open"));
    if (await page.evaluate(() => document.activeElement === document.body)) note(name, "the focus is lost after acknowledging");
  }
  const wished = await page.locator("#if-foil").count() ? "#if-foil" : "#if-hotter";
  if (await reach(page, wished, name)) {
    await page.keyboard.press("Enter");
    await says(page, "#answer", "Nothing is done yet", name);
    if (!(await page.locator(".ifband").count())) note(name, "the lane shows no band of the what-if");
  }
  if (await reach(page, "#log > summary", name)) {
    await page.keyboard.press("Enter");
    if (await reach(page, 'button[value="lid"]', name)) {
      await page.keyboard.press("Enter");
      await says(page, "#done", "Logged: lid opened", name);
    }
  }
  await judge(page, name);
  await page.context().close();
}

async function byItself() {
  const name = "live";
  const page = await open(name);
  await page.goto(base + (process.env.PIECE || "/"), { waitUntil: "load" });
  const before = await page.locator(".alarm").count();
  if (!before) return;
  const other = await open(name);
  await other.goto(base + "/", { waitUntil: "load" });
  await other.locator(".alarm .main").first().click();
  await page.waitForFunction((n) => document.querySelectorAll(".alarm").length < n, before, { timeout: 15000 }).catch(() => note(name, "an open page does not notice what another did"));
  await page.context().close();
  await other.context().close();
}

async function withoutScript() {
  const name = "without script";
  const page = await open(name, { javaScriptEnabled: false });
  await page.goto(base + (process.env.PIECE || "/"), { waitUntil: "load" });
  await says(page, ".lane", "ready", name);
  await page.locator("#if-hotter").click();
  await says(page, "#answer", "Nothing is done yet", name);
  await page.locator("#log > summary").click();
  await page.locator('button[value="fuel"]').click();
  await says(page, "#done", "Logged: fuel added", name);
  await page.locator("#undo").click();
  if (await page.locator("#done form").count()) note(name, "what was taken back is still offered");
  await page.screenshot({ path: `${pictures}/without-script.png`, fullPage: true });
  await page.context().close();
}

async function printed() {
  const page = await open("print", { viewport: { width: 1000, height: 1400 } });
  await page.goto(base + (process.env.PIECE || "/"), { waitUntil: "load" });
  await page.emulateMedia({ media: "print" });
  await page.waitForTimeout(500);
  await page.screenshot({ path: `${pictures}/print.png`, fullPage: true });
  await page.context().close();
}

async function use() {
  await printed();
  await byItself();
  await byKeyboard();
  await withoutScript();
}

try {
  if (process.env.ONLY !== "use") await look();
  if (process.env.ONLY !== "look") await use();
} finally {
  await browser.close();
}
process.exit(findings.length ? 1 : 0);
