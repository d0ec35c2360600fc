// Moves and reads a picture: one finger or the mouse drags, two fingers or the wheel zoom, keys do all of it.
const ZOOM = 1.4, STEP = 0.2;

export function listen(svg, picture) {
  const ends = new AbortController();
  const on = (name, act, options = {}) => svg.addEventListener(name, act, { signal: ends.signal, ...options });
  const fingers = new Map();
  let start = null, moved = false;
  const place = (event) => (event.clientX - svg.getBoundingClientRect().left) * svg.viewBox.baseVal.width / svg.getBoundingClientRect().width;

  function begin() {
    const points = [...fingers.values()];
    start = { range: picture.range(), points: points.map(picture.at), px: points };
  }

  on("pointerdown", (event) => { fingers.set(event.pointerId, place(event)); moved = false; begin(); });
  on("pointermove", (event) => {
    if (!fingers.has(event.pointerId)) { if (event.pointerType === "mouse") picture.read(picture.at(place(event)), false); return; }
    fingers.set(event.pointerId, place(event));
    const px = [...fingers.values()];
    if (Math.abs(px[0] - start.px[0]) < 6 && px.length === 1 && !moved) return;
    if (!moved) { moved = true; svg.setPointerCapture?.(event.pointerId); }
    const [from, until] = start.range;
    const perPixel = (until - from) / (svg.viewBox.baseVal.width - 48);
    const scale = px.length > 1 ? Math.abs(start.px[1] - start.px[0]) / Math.max(10, Math.abs(px[1] - px[0])) : 1;
    const span = (until - from) * scale;
    const newFrom = start.points[0] - (px[0] - 38) * perPixel * scale;
    frame(() => picture.setRange(newFrom, newFrom + span));
  });
  const up = (event) => {
    if (fingers.delete(event.pointerId) && !moved) picture.read(picture.at(place(event)));
    if (fingers.size) begin();
  };
  // The picture is redrawn while it moves, so the end of a move is listened for on the window.
  window.addEventListener("pointerup", up, { signal: ends.signal });
  window.addEventListener("pointercancel", (event) => fingers.delete(event.pointerId), { signal: ends.signal });
  on("wheel", (event) => {
    if (!event.ctrlKey && !event.shiftKey) return;
    event.preventDefault();
    zoom(event.deltaY > 0 ? ZOOM : 1 / ZOOM, picture.at(place(event)));
  }, { passive: false });
  on("keydown", (event) => {
    const [from, until] = picture.range();
    const acts = {
      ArrowLeft: () => picture.setRange(from - (until - from) * STEP, until - (until - from) * STEP),
      ArrowRight: () => picture.setRange(from + (until - from) * STEP, until + (until - from) * STEP),
      "+": () => zoom(1 / ZOOM, (from + until) / 2), "=": () => zoom(1 / ZOOM, (from + until) / 2),
      "-": () => zoom(ZOOM, (from + until) / 2), Home: () => picture.home(),
      ".": () => picture.step(1), ",": () => picture.step(-1), Escape: () => picture.read(null),
    };
    if (!acts[event.key] || event.metaKey || event.ctrlKey || event.altKey) return;
    event.preventDefault();
    const holder = svg.parentNode;
    acts[event.key]();
    holder.querySelector("svg")?.focus({ preventScroll: true });
  });

  function zoom(by, around) {
    const [from, until] = picture.range();
    picture.setRange(around - (around - from) * by, around + (until - around) * by);
  }
  return () => { if (!fingers.size) ends.abort(); else window.addEventListener("pointerup", () => ends.abort(), { once: true }); };
}

let waiting = 0;
function frame(act) {
  cancelAnimationFrame(waiting);
  waiting = requestAnimationFrame(act);
}
