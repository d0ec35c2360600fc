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

let due = 0, last = 0;

// What a part says; the form tokens in it differ on every reading.
const said = (part) => part.innerHTML.replace(/(name="form_token" value=")[^"]*/g, "$1");

// Read this page again soon and put its live parts in; a part somebody is working in stays.
export function refresh() {
  if (due) return;
  due = setTimeout(async () => {
    try {
      const answer = await fetch(location.pathname + location.search.replace(/[?&]said=\w+/, ""), { headers: { accept: "text/html" } });
      if (!answer.ok || answer.redirected) return;
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      for (const part of document.querySelectorAll("[data-live]")) {
        const newer = fresh.querySelector(`[data-live="${part.dataset.live}"]`);
        if (newer && !part.contains(document.activeElement) && !part.querySelector("details[open]")
          && said(newer) !== said(part)) part.replaceWith(document.adoptNode(newer));
      }
    } catch { /* The stream tells again when the service is back. */ } finally {
      due = 0; last = performance.now();
    }
  }, Math.max(SETTLE, last + AGAIN_LEAST - performance.now()));
}
