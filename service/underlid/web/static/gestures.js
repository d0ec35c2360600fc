// Turns fingers, mouse and keys into a new range or a new place of the cursor.
//
// One finger or the mouse pans, two fingers or the wheel with Ctrl or Shift zoom, arrows pan, + and −
// zoom, Home goes back to the first view, comma and full stop step from value to value. Moving up and
// down stays with the page.

const KEY_PAN = 0.2; // share of the view
const KEY_ZOOM = 1.5;
const STILL_PX = 6; // less than this is a tap
const APART_LEAST_PX = 20; // two fingers on one spot must not zoom without end

/** Listen on `element` for `view`: {range(), share(clientX), at(clientX), setRange(), cursor(), step(), home()}. */
export function listen(element, view) {
  const fingers = new Map();
  let start = null;
  let moved = false;
  const places = () => [...fingers.values()].slice(0, 2);
  const begin = () => { start = { range: view.range(), xs: places(), ats: places().map(view.at) }; };

  element.addEventListener("pointerdown", (event) => {
    fingers.set(event.pointerId, event.clientX);
    if (fingers.size === 1) moved = false;
    begin();
  });
  element.addEventListener("pointermove", (event) => {
    if (!fingers.has(event.pointerId)) {
      view.cursor(view.at(event.clientX));
      return;
    }
    fingers.set(event.pointerId, event.clientX);
    if (!moved && fingers.size === 1 && Math.abs(event.clientX - start.xs[0]) < STILL_PX) return;
    if (!moved) element.setPointerCapture(event.pointerId);
    moved = true;
    move(places());
  });
  for (const kind of ["pointerup", "pointercancel"]) {
    element.addEventListener(kind, (event) => {
      if (!fingers.delete(event.pointerId)) return;
      if (!moved && kind === "pointerup") view.cursor(view.at(event.clientX), true);
      if (fingers.size) begin();
    });
  }
  element.addEventListener("pointerleave", (event) => {
    if (event.pointerType === "mouse" && !fingers.size) view.cursor(null);
  });
  element.addEventListener("wheel", (event) => {
    if (!event.ctrlKey && !event.shiftKey) return;
    event.preventDefault();
    zoom(Math.exp((event.deltaY || event.deltaX) / 300), view.at(event.clientX));
  }, { passive: false });
  element.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const [from, until] = view.range();
    const pan = (until - from) * KEY_PAN;
    const act = {
      ArrowLeft: () => view.setRange(from - pan, until - pan),
      ArrowRight: () => view.setRange(from + pan, until + pan),
      "+": () => zoom(1 / KEY_ZOOM), "=": () => zoom(1 / KEY_ZOOM), "-": () => zoom(KEY_ZOOM),
      Home: () => view.home(), ",": () => view.step(-1), ".": () => view.step(1), Escape: () => view.cursor(null),
    }[event.key];
    if (!act) return;
    event.preventDefault();
    act();
  });

  function move(xs) {
    const [from, until] = start.range;
    let span = until - from;
    if (xs.length > 1 && start.xs.length > 1) {
      span *= Math.max(APART_LEAST_PX, Math.abs(start.xs[1] - start.xs[0])) / Math.max(APART_LEAST_PX, Math.abs(xs[1] - xs[0]));
    }
    const newFrom = start.ats[0] - view.share(xs[0]) * span;
    view.setRange(newFrom, newFrom + span);
  }

  function zoom(factor, around = null) {
    const [from, until] = view.range();
    const middle = around ?? (from + until) / 2;
    view.setRange(middle - (middle - from) * factor, middle + (until - middle) * factor);
  }
}
