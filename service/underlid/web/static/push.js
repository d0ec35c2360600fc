// Lets somebody be told in this very browser: asks for leave, subscribes, sends the form that keeps the
// address. Where that cannot be, it says why and what to do.

const ANSWER_MS = 20_000; // a browser without a way to its push service may never answer

const part = document.querySelector("[data-push]");
const form = part.querySelector("form");
const button = form.querySelector("button");
const spot = part.querySelector("[data-push-said]");

function say(words, canPress, kind = "said") {
  spot.textContent = words;
  spot.className = kind;
  spot.hidden = !words;
  form.hidden = !canPress;
}

function whyNot() {
  if (!window.isSecureContext) {
    return `Not here: browsers allow it only on a page that came over HTTPS, or from this very machine, and this one came as ${location.protocol}//${location.host}. Put a TLS proxy in front (Running it, “Behind a TLS proxy”), open the page at its https:// address and come back. Until then an e-mail address does the same.`;
  }
  if (!("serviceWorker" in navigator && "PushManager" in window && "Notification" in window)) {
    return "Not in this browser as it stands. On an iPhone or iPad: share the page to the home screen, open it from there and come back. A private window cannot do it either. An e-mail address does the same.";
  }
  if (Notification.permission === "denied") {
    return "This browser has been told to show no notifications of this page. Allow them in its settings for this site, then load the page again.";
  }
  return "";
}

function bytes(text) {
  const plain = atob(text.replaceAll("-", "+").replaceAll("_", "/"));
  return Uint8Array.from(plain, (letter) => letter.charCodeAt(0));
}

function text(buffer) {
  const plain = btoa(String.fromCharCode(...new Uint8Array(buffer)));
  return plain.replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");
}

// As notify/subscription.py reads it.
function addressOf(subscription) {
  const keys = ["p256dh", "auth"].map((name) => text(subscription.getKey(name))).join(".");
  return `push+${subscription.endpoint}#${keys}`;
}

async function markOf(subscription) {
  const hash = await crypto.subtle.digest("SHA-256", new TextEncoder().encode(addressOf(subscription)));
  return [...new Uint8Array(hash)].map((one) => one.toString(16).padStart(2, "0")).join("");
}

async function present() {
  const worker = await navigator.serviceWorker.getRegistration("/");
  return (await worker?.pushManager.getSubscription()) ?? null;
}

function name() {
  const data = navigator.userAgentData;
  const brands = data?.brands.map((one) => one.brand).filter((brand) => !/not.*brand/i.test(brand)) ?? [];
  const brand = brands.find((one) => one !== "Chromium") ?? brands[0] ?? "Browser";
  return (data?.platform ? `${brand} on ${data.platform}` : "Browser").slice(0, 40);
}

async function subscribe() {
  const worker = await navigator.serviceWorker.register("/sw.js");
  await navigator.serviceWorker.ready;
  const key = part.dataset.push;
  const old = await worker.pushManager.getSubscription();
  const oldKey = old?.options?.applicationServerKey;
  if (old && (!oldKey || text(oldKey) !== key)) await old.unsubscribe();
  return worker.pushManager.subscribe({ userVisibleOnly: true, applicationServerKey: bytes(key) });
}

function inTime(promise) {
  const late = new Promise((_, fail) => {
    setTimeout(() => fail(new Error("no answer within 20 s")), ANSWER_MS);
  });
  return Promise.race([promise, late]);
}

async function press() {
  button.disabled = true;
  say("Asking the browser …", true);
  try {
    if ((await Notification.requestPermission()) !== "granted") {
      say(whyNot() || "You have not allowed it. Press again when you want to.", !whyNot(), "refusal");
      return;
    }
    form.elements.address.value = addressOf(await inTime(subscribe()));
    form.elements.label.value = name();
    form.submit();
  } catch (error) {
    say(`The browser's own push service did not take it (${error.message}). It needs the internet, and some browsers come without one. Try again, try another browser, or use an e-mail address.`, true, "refusal");
  } finally {
    button.disabled = false;
  }
}

async function lookWhereWeAre() {
  const why = whyNot();
  if (why) return say(why, false, "refusal");
  say("", true);
  const subscription = await present();
  const mark = subscription ? await markOf(subscription) : "";
  const here = mark && document.querySelector(`[data-mark="${mark}"]`);
  if (!here) return;
  here.querySelector("[data-here]").hidden = false;
  here.querySelector("form[action$='/remove']")?.addEventListener("submit", () => subscription.unsubscribe());
  say("You are told in this browser.", false);
}

form.addEventListener("submit", (event) => {
  event.preventDefault();
  press();
});
lookWhereWeAre();
