// Shows what the daemon pushes while no page is open. It keeps nothing and answers no request of the pages.

self.addEventListener("push", (event) => {
  const m = event.data ? event.data.json() : { id: "", tag: "", title: "Stallkeeper", body: "Look at the page.", urgent: true };
  event.waitUntil(show(m));
});

async function show(m) {
  const before = await self.registration.getNotifications({ tag: m.tag });
  const again = before.some((n) => n.data && n.data.id === m.id); // the same message twice need not buzz twice
  await self.registration.showNotification(m.title, {
    body: m.body,
    tag: m.tag,
    renotify: !again,
    silent: again,
    requireInteraction: m.urgent,
    icon: "/assets/icon.svg",
    data: { id: m.id, url: m.url || "/" },
  });
}

self.addEventListener("notificationclick", (event) => {
  event.notification.close();
  event.waitUntil(open(event.notification.data.url));
});

async function open(url) {
  const at = new URL(url, self.location.origin);
  const pages = await self.clients.matchAll({ type: "window" });
  const page = pages.find((c) => new URL(c.url).origin === at.origin);
  if (page) return page.focus();
  return self.clients.openWindow(at.href);
}
