"use strict";

// Asks the browser for an address at its push service and puts it into the form, which is then sent as any
// other. What is said stands in the page.

const turnOn = document.getElementById("turn-on");
const listed = Array.from(document.querySelectorAll("form[data-mark]"));

function show(id) {
  const words = document.getElementById(id);
  if (words) words.hidden = false;
}

async function markOf(endpoint) {
  const bytes = await crypto.subtle.digest("SHA-256", new TextEncoder().encode(endpoint));
  return Array.from(new Uint8Array(bytes), (byte) => byte.toString(16).padStart(2, "0")).join("");
}

function base64url(buffer) {
  const text = btoa(String.fromCharCode(...new Uint8Array(buffer)));
  return text.replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");
}

function bytesOf(text) {
  const plain = atob(text.replaceAll("-", "+").replaceAll("_", "/"));
  return Uint8Array.from(plain, (letter) => letter.charCodeAt(0));
}

async function subscribe(registration) {
  const known = await registration.pushManager.getSubscription();
  // One of before may be for another key.
  if (known) await known.unsubscribe();
  return registration.pushManager.subscribe({
    userVisibleOnly: true,
    applicationServerKey: bytesOf(turnOn.dataset.key),
  });
}

async function whenTurnedOn(event) {
  event.preventDefault();
  if ((await Notification.requestPermission()) !== "granted") {
    show("denied");
    return;
  }
  try {
    await navigator.serviceWorker.register("notices-worker.js");
    const subscription = await subscribe(await navigator.serviceWorker.ready);
    turnOn.elements.endpoint.value = subscription.endpoint;
    turnOn.elements.key.value = base64url(subscription.getKey("p256dh"));
    turnOn.elements.auth.value = base64url(subscription.getKey("auth"));
  } catch {
    show("failed");
    return;
  }
  turnOn.submit();
}

async function whenEnded(event, form, subscription) {
  event.preventDefault();
  await subscription.unsubscribe().catch(() => false);
  form.submit();
}

async function start() {
  document.getElementById("without-script").hidden = true;
  if (!("serviceWorker" in navigator && "PushManager" in window && "Notification" in window)) {
    show("cannot");
    return;
  }
  const registration = await navigator.serviceWorker.getRegistration("notices-worker.js");
  const subscription = registration && (await registration.pushManager.getSubscription());
  const mark = subscription && (await markOf(subscription.endpoint));
  const here = listed.find((form) => form.dataset.mark === mark);
  if (here) {
    here.querySelector(".here").hidden = false;
    here.addEventListener("submit", (event) => whenEnded(event, here, subscription));
    return;
  }
  if (Notification.permission === "denied") {
    show("denied");
  } else if (turnOn) {
    turnOn.hidden = false;
    turnOn.addEventListener("submit", whenTurnedOn);
  }
}

start();
