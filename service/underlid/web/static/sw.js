// Shows what a push service brings, also while no page is open, and opens the bin when it is pressed.
// Served as /sw.js. It keeps nothing and answers no request of a page.

self.addEventListener("install", () => self.skipWaiting());

self.addEventListener("push", (event) => event.waitUntil(show(message(event.data))));

self.addEventListener("notificationclick", (event) => {
  event.notification.close();
  event.waitUntil(open(event.notification.data?.to ?? "/"));
});

function message(data) {
  try {
    return data.json();
  } catch {
    return { title: "Underlid", text: "There is news. Open the page to see it.", to: "/", about: "", id: "" };
  }
}

async function show({ title, text, to, about, id }) {
  // News of one alert takes the place of older news; the same message, sent again, makes no sound.
  const before = about ? await registration.getNotifications({ tag: about }) : [];
  const known = before.some((one) => one.data?.id === id);
  const more = about ? { tag: about, renotify: !known } : {};
  await registration.showNotification(title, { body: text, data: { to, id }, icon: "/mark.png", ...more });
}

async function open(to) {
  const address = new URL(to, location.origin);
  if (address.origin !== location.origin) return;
  for (const page of await clients.matchAll({ type: "window", includeUncontrolled: true })) {
    if (new URL(page.url).pathname === address.pathname) return page.focus();
  }
  await clients.openWindow(address.href);
}
