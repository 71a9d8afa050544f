"use strict";

// Shows a notice that was pushed, and opens its page when it is touched.

function read(data) {
  try {
    return data.json();
  } catch {
    // Something must be shown for each push.
    return { title: "There is something to look at", body: "", tag: "unread", opens: null };
  }
}

self.addEventListener("push", (event) => {
  const notice = read(event.data);
  event.waitUntil(
    self.registration.showNotification(notice.title, {
      body: notice.body,
      tag: notice.tag,
      renotify: true,
      data: { opens: notice.opens },
    }),
  );
});

self.addEventListener("notificationclick", (event) => {
  event.notification.close();
  const home = new URL("./", self.location.href);
  const page = new URL(event.notification.data.opens || "/", home);
  event.waitUntil(self.clients.openWindow(page.origin === home.origin ? page.href : home.href));
});
