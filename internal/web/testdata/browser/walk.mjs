// Walks through the pages of a served night with a real browser and reports what is wrong.
// node walk.mjs BASE PICTURES; the environment gives CHROMIUM (the browser), PATHS (the pages to look at), PIECE (the watch
// page to use), ONLY (look, use, whole or restart: one part alone) and NAME (of the piece that the whole walk puts on a new fire).
// Exit status 1 with one line per finding.
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
  page.on("console", (m) => {
    const expected = (name === "restart" && m.text().includes("net::ERR")) || (page.url().endsWith(nowhere) && m.text().includes("404"));
    if (["error", "warning"].includes(m.type()) && !expected) note(name, `console: ${m.text()}`);
  });
  page.on("pageerror", (e) => note(name, `script: ${e.message}`));
  page.on("request", (r) => { if (!r.url().startsWith(base) && !r.url().startsWith("data:")) note(name, `asks for ${r.url()}`); });
  return page;
}

// picture takes one where pictures are wanted: a folder is given.
const picture = async (page, name) => { if (pictures) await page.screenshot({ path: `${pictures}/${name}.png`, fullPage: true }); };

const paths = (process.env.PATHS || "/").split(" ");
const nowhere = "/no-such-page"; // of it the browser itself says that it is not there

// arrive opens a page. "/start!NAME" is the answer to a fire lit with a piece of that name by somebody who was not warned.
async function arrive(page, path, name) {
  const [at, taken] = path.split("!");
  await page.goto(base + at, { waitUntil: "load" });
  if (!taken) return;
  await page.fill("#p0-id", taken);
  await page.evaluate(() => { document.getElementById("seen").value = ""; document.getElementById("start").submit(); });
  await says(page, "h2", "Not lit yet", name);
}

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

// Every page is judged at each width, dark or light; the first three in red and in the other light too. The first page is
// pictured at every width and light.
async function look() {
  for (const width of [390, 768, 1280]) for (const light of ["dark", "light", "red"]) {
    const whole = ["390 dark", "768 light", "1280 dark"].includes(`${width} ${light}`);
    const full = whole || width === 390;
    const page = await open(`${width} ${light}`, { viewport: { width, height: 844 }, colorScheme: light === "light" ? "light" : "dark" }, light === "red" ? [["stallkeeper-light", "red"]] : []);
    for (const path of whole ? paths : full ? paths.slice(0, 3) : paths.slice(0, 1)) {
      const name = `${path} ${width} ${light}`;
      await arrive(page, path, name);
      if (await page.locator("#curve").count()) await page.locator("#curve canvas").waitFor({ timeout: 5000 }).catch(() => note(name, "no curve is drawn"));
      await picture(page, `${path.replace(/[^a-z0-9]+/gi, "-")}${width}-${light}`);
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

// whole is an evening by keyboard alone: a fire is lit, a lane watched, a what-if asked, a wrap logged and taken back, an
// alarm acknowledged, a record opened.
async function whole(width, light) {
  const name = `whole walk ${width} ${light}`;
  const piece = process.env.NAME || "ghost";
  const page = await open(name, { viewport: { width, height: 844 }, colorScheme: light });
  const enter = async (selector) => { const ok = await reach(page, selector, name); if (ok) await page.keyboard.press("Enter"); return ok; };
  const type = async (selector, text) => { if (await reach(page, selector, name)) await page.keyboard.type(text); };
  await page.goto(base + "/start", { waitUntil: "load" });
  if (await reach(page, "#p0-id", name)) { await page.keyboard.press("Control+A"); await page.keyboard.type(piece); }
  await type("#p0-cut", "pork sh");
  await type("#p0-mass", "3,2");
  await page.locator("#start[data-checked]").waitFor({ timeout: 20000 }).catch(() => note(name, "what was typed is not checked"));
  await says(page, "#ahead-p0", "4 times in 5", name);
  const running = await (await page.request.get(base + "/api/v1/snapshot")).json();
  if (running.cooks.some((c) => c.pieces.some((p) => p.piece.id === piece))) await says(page, "#caution-p0-id", "which still runs", name);
  await judge(page, name);
  if (await enter("#light")) await page.waitForURL("**/?piece=**", { timeout: 8000 }).catch(() => note(name, "lighting up leads nowhere"));
  if (await enter(".lane > a:not([aria-current])")) await page.waitForFunction(() => document.activeElement?.matches(".lane > a[aria-current]"), undefined, { timeout: 8000 }).catch(() => note(name, "a lane chosen by Enter is not shown, or loses the focus"));
  await page.goto(base + (process.env.PIECE || "/"), { waitUntil: "load" });
  if (await enter("#if-hold")) await says(page, "#answer", "Nothing is done yet", name);
  if ((await enter("#log > summary")) && (await enter('button[value^="wrap"], button[value="unwrap"]'))) {
    await says(page, "#done", "Logged: ", name);
    await enter("#undo");
    await page.waitForFunction(() => !document.querySelector("#done form"), undefined, { timeout: 8000 }).catch(() => note(name, "what was taken back is still offered"));
  }
  await page.goto(base + "/", { waitUntil: "load" });
  await page.locator(".alarm .main").first().waitFor({ timeout: 180000 }).catch(() => note(name, "no alarm comes"));
  const id = (await page.locator(".alarm .main").count()) && (await page.locator(".alarm .main").first().getAttribute("id"));
  if (id && (await enter(`[id="${id}"]`))) await page.waitForFunction((i) => !document.getElementById(i), id, { timeout: 8000 }).catch(() => note(name, "an alarm acknowledged by Enter stays open"));
  await page.goto(base + "/records", { waitUntil: "load" });
  const entry = '#journal .log a[href^="/lots/"]';
  if (await enter(entry)) {
    await page.waitForURL("**/lots/**", { timeout: 8000 }).catch(() => note(name, "an entry does not lead to its lot"));
    await says(page, "h1", "Lot", name);
    await judge(page, name);
  }
  await page.context().close();
}

// restart keeps a page open while its daemon is killed and started again; the one who does that reads READY, AWAY and BACK.
async function restart() {
  const page = await open("restart");
  await page.goto(base + "/", { waitUntil: "load" });
  await page.locator(".lane .heat", { hasText: "of" }).first().waitFor({ timeout: 30000 });
  await page.evaluate(() => { globalThis.opened = true; });
  console.log("READY");
  await page.locator("#link", { hasText: "No answer from the daemon" }).waitFor({ timeout: 30000 });
  console.log("AWAY");
  await page.locator(".lane .heat", { hasText: "49.4" }).first().waitFor({ timeout: 60000 });
  await page.locator(".marks", { hasText: "fuel added" }).waitFor({ timeout: 20000 });
  await page.locator("#link").waitFor({ state: "hidden", timeout: 20000 });
  if (!(await page.evaluate(() => globalThis.opened))) note("restart", "the page was loaded anew");
  if (!findings.length) console.log("BACK");
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
  await picture(page, "without-script");
  await page.context().close();
}

async function printed() {
  const page = await open("print", { viewport: { width: 1000, height: 1400 } });
  await page.goto(base + (process.env.PIECE || "/"), { waitUntil: "load" });
  await page.emulateMedia({ media: "print" });
  await page.waitForTimeout(500);
  await picture(page, "print");
  await page.context().close();
}

async function use() {
  await printed();
  await byItself();
  await byKeyboard();
  await withoutScript();
}

try {
  const only = process.env.ONLY;
  if (!only || only === "look") await look();
  if (!only || only === "use") await use();
  if (only === "restart") await restart();
  if (only === "whole") for (const width of (process.env.WIDTHS || "390 768 1280").split(" ")) for (const light of ["dark", "light"]) await whole(Number(width), light);
} finally {
  await browser.close();
}
process.exit(findings.length ? 1 : 0);
