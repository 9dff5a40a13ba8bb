// Pages work without this file. With it a page follows the fire by itself, and its marked forms and links save a page
// load. The server makes all markup; this file only puts the new in place of the old.

// pause is the time between refreshes in ms, however often the daemon reports a change. A what-if costs a forecast.
const pause = () => (new URLSearchParams(location.search).has("if") ? 10000 : 3000);
const sent = new Map(); // the server's text of each live part, to leave unchanged parts alone
for (const part of document.querySelectorAll("[data-live]")) sent.set(part.id, part.innerHTML);

let after = () => {}; // what a page does when its parts are new
let running = null; // the fetch on its way
let timer = 0;
let lastRefresh = Date.now();

function busy(part) {
  const at = document.activeElement;
  return part.contains(at) && at.matches("input, select, textarea");
}

function put(old, fresh, asked) {
  if (sent.get(old.id) === fresh.innerHTML && old.className === fresh.className) return;
  if (!asked && busy(old)) return;
  const open = [...old.querySelectorAll("details[open]")].map((d) => d.id);
  const scrolled = [...old.querySelectorAll(".scroll")].map((d) => d.scrollTop);
  const focus = old.contains(document.activeElement) ? document.activeElement.id : null;
  sent.set(old.id, fresh.innerHTML);
  old.className = fresh.className;
  old.innerHTML = fresh.innerHTML;
  for (const id of open) if (!asked || id !== "log") document.getElementById(id)?.setAttribute("open", "");
  old.querySelectorAll(".scroll").forEach((d, i) => { d.scrollTop = scrolled[i] ?? 0; });
  if (focus === null) return;
  const again = (focus && document.getElementById(focus)) || old.querySelector("button, summary, a") || old;
  if (!again.matches("button, summary, a, input, select")) again.tabIndex = -1;
  again.focus({ preventScroll: true });
}

function show(text, asked) {
  const fresh = new DOMParser().parseFromString(text, "text/html");
  const ids = (root) => [...root.querySelectorAll("[data-live]")].map((p) => p.id).join(" ");
  const main = document.getElementById("main");
  if (!fresh.getElementById("main")) { location.reload(); return; } // no page of ours: somebody has to log in again
  const piece = (root) => root.getElementById("curve")?.dataset.curve;
  if (ids(fresh) !== ids(document) || piece(fresh) !== piece(document)) {
    if (!asked && busy(main)) return;
    const focus = document.activeElement?.id;
    main.innerHTML = fresh.getElementById("main").innerHTML;
    sent.clear();
    for (const part of document.querySelectorAll("[data-live]")) sent.set(part.id, part.innerHTML);
    if (focus) document.getElementById(focus)?.focus({ preventScroll: true });
  } else {
    for (const part of fresh.querySelectorAll("[data-live]")) put(document.getElementById(part.id), part, asked);
  }
  document.title = fresh.title;
  after();
}

async function load(url, options, asked) {
  running?.abort();
  running = new AbortController();
  const mine = running;
  try {
    const answer = await fetch(url, { ...options, signal: mine.signal, headers: { Accept: "text/html" } });
    const text = await answer.text();
    if (mine.signal.aborted) return null;
    lastRefresh = Date.now();
    show(text, asked);
    return answer.url;
  } catch (e) {
    if (e.name === "AbortError") return null;
    if (asked) throw e;
    return null; // the stream says when the daemon is away
  } finally {
    if (running === mine) running = null;
  }
}

function refresh() {
  timer = 0;
  if (document.hidden || running) return;
  load(location.href, {}, false);
}

function changed() {
  if (timer) return;
  timer = setTimeout(refresh, Math.max(0, lastRefresh + pause() - Date.now()));
}

document.addEventListener("click", async (e) => {
  const a = e.target.closest("a[data-swap]");
  if (!a || e.metaKey || e.ctrlKey || e.shiftKey || e.button) return;
  e.preventDefault();
  try {
    const at = await load(a.href, {}, true);
    if (at && at !== location.href) history.pushState(null, "", at);
  } catch { location.href = a.href; }
});

document.addEventListener("submit", async (e) => {
  const form = e.target;
  if (!form.matches("[data-swap], .acts")) return;
  e.preventDefault();
  if (form.ariaBusy) return; // a second tap while the first is on its way
  form.ariaBusy = "true";
  const by = e.submitter;
  const data = new URLSearchParams(new FormData(form, by));
  const url = new URL(by?.getAttribute("formaction") || form.getAttribute("action"), location.href);
  const post = form.method === "post";
  if (!post) url.search = data;
  try {
    const at = await load(url, post ? { method: "POST", body: data } : {}, true);
    if (at) history.replaceState(null, "", at);
  } catch {
    form.removeAttribute("data-swap");
    form.classList.remove("acts");
    form.requestSubmit(by);
  } finally { form.ariaBusy = null; }
});

addEventListener("popstate", () => load(location.href, {}, true));

const link = () => document.getElementById("link");
let away = 0;
function tell(text) {
  const p = link();
  if (!p) return;
  p.hidden = !text;
  if (p.textContent !== text) p.textContent = text;
}

let stream = null;
function follow() {
  if (stream || document.hidden) return;
  stream = new EventSource("/api/v1/live");
  stream.onopen = () => { clearTimeout(away); away = 0; tell(""); };
  stream.addEventListener("snapshot", changed);
  stream.addEventListener("clock", () => { if (Date.now() - lastRefresh > 25000) changed(); }); // "ago" and "now" move on
  stream.onerror = () => {
    const since = new Date().toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });
    away ||= setTimeout(() => tell(`No answer from the daemon since ${since}. What stands here may be old.`), 4000);
    if (stream?.readyState === EventSource.CLOSED) { stream = null; setTimeout(follow, 5000); }
  };
}

// keepFresh starts following; then runs now and after each change of the page.
export function keepFresh(then) {
  after = then;
  document.addEventListener("visibilitychange", () => {
    if (document.hidden) { stream?.close(); stream = null; } else { follow(); changed(); }
  });
  follow();
  after();
}
