// One stream of events a page, closed while nobody looks; parts of the page are read anew when something changed.
const SETTLE = 500, AGAIN_LEAST = 1500;

export function follow(bin, told) {
  let source = null;
  const open = () => {
    if (source || document.hidden) return;
    const query = new URLSearchParams({ told: document.body.dataset.told, ...(bin && { bin }) });
    source = new EventSource(`/api/v1/live?${query}`);
    for (const kind of ["reading", "rejected", "judged", "journal", "look"]) {
      source.addEventListener(kind, (event) => told(JSON.parse(event.data)));
    }
  };
  const close = () => { source?.close(); source = null; };
  document.addEventListener("visibilitychange", () => {
    if (document.hidden) close(); else { open(); told({ kind: "look" }); }
  });
  addEventListener("pagehide", close);
  addEventListener("pageshow", open);
  open();
}

let due = 0, last = 0, reading = false, missed = false;

// What a part says; the form tokens in it differ on every reading.
const said = (part) => part.innerHTML.replace(/(name="form_token" value=")[^"]*/g, "$1");

// A part is kept while somebody is working in it; pressing a button counts, though not all browsers focus it.
const busy = (part) => part.contains(document.activeElement) || part.matches(":active") || part.querySelector("details[open]");

// Something has changed: what is just being read may not hold it, and is read once more then.
export function outdate() {
  if (reading) missed = true;
}

// Read this page again soon and put its live parts in.
export function refresh() {
  outdate();
  if (due) return;
  due = setTimeout(async () => {
    reading = true;
    try {
      const answer = await fetch(location.pathname + location.search.replace(/[?&]said=\w+/, ""), { headers: { accept: "text/html" } });
      if (!answer.ok || answer.redirected) return;
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      for (const part of document.querySelectorAll("[data-live]")) {
        const newer = fresh.querySelector(`[data-live="${part.dataset.live}"]`);
        if (newer && !busy(part) && said(newer) !== said(part)) part.replaceWith(document.adoptNode(newer));
      }
    } catch { /* The stream tells again when the service is back. */ } finally {
      const again = missed;
      due = 0; last = performance.now();
      reading = missed = false;
      if (again) refresh();
    }
  }, Math.max(SETTLE, last + AGAIN_LEAST - performance.now()));
}
