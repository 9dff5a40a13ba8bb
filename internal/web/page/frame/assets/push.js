// Switches notifications of this browser on and off. Without a secure context browsers have no push: then it says so.

const room = document.querySelector("[data-push]");
if (room) begin(room);

async function begin(room) {
  const said = room.querySelector("[data-push-said]");
  const say = (text) => { said.textContent = text; };
  const why = unable();
  if (why) return say(why);
  try {
    const worker = await navigator.serviceWorker.register("/push-worker.js");
    await refresh(room, worker, say);
    room.addEventListener("click", (event) => {
      const button = event.target.closest("button[data-path]");
      if (button) change(room, worker, button, say);
    });
  } catch (err) {
    say(`Notifications cannot be switched on here: ${err.message}`);
  }
}

function unable() {
  if (!window.isSecureContext) return "Browsers have notifications only over HTTPS: serve these pages with a certificate (tls_cert in the configuration), or by a proxy that has one.";
  if (!("serviceWorker" in navigator) || !("PushManager" in window)) return "This browser has no push. On an iPhone or iPad put the page on the home screen first.";
  if (Notification.permission === "denied") return "This browser was told to show no notifications of this page: change that in its settings.";
  return "";
}

const bytes = (text) => Uint8Array.from(atob(text.replace(/-/g, "+").replace(/_/g, "/")), (c) => c.charCodeAt(0));
const pathURL = (path) => `/api/v1/paths/${encodeURIComponent(path)}/subscriptions`;
const remembered = "stallkeeper-push-path";

async function refresh(room, worker, say) {
  const sub = await worker.pushManager.getSubscription();
  const on = sub ? localStorage.getItem(remembered) : null;
  for (const b of room.querySelectorAll("button[data-path]")) {
    b.hidden = false;
    b.textContent = b.dataset.path === on ? `Switch notifications off here (${b.dataset.path})` : `Switch notifications on here (${b.dataset.path})`;
  }
  say(on ? `This browser is notified by the path ${on}.` : "This browser is not notified.");
}

async function change(room, worker, button, say) {
  button.disabled = true;
  try {
    const path = button.dataset.path;
    const old = await worker.pushManager.getSubscription();
    const on = old && localStorage.getItem(remembered);
    if (old) {
      if (on) await tell("DELETE", on, { endpoint: old.endpoint });
      await old.unsubscribe();
      localStorage.removeItem(remembered);
    }
    if (on !== path) {
      const sub = await worker.pushManager.subscribe({ userVisibleOnly: true, applicationServerKey: bytes(room.dataset.push) });
      const { endpoint, keys } = sub.toJSON();
      await tell("POST", path, { endpoint, keys: { p256dh: keys.p256dh, auth: keys.auth } });
      localStorage.setItem(remembered, path);
    }
    await refresh(room, worker, say);
  } catch (err) {
    say(`That did not work: ${err.message}`);
  } finally {
    button.disabled = false;
  }
}

async function tell(method, path, body) {
  const answer = await fetch(pathURL(path), { method, headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) });
  if (answer.ok) return;
  const problem = await answer.json().catch(() => ({ detail: answer.statusText }));
  throw new Error(problem.detail);
}
