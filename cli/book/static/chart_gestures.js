/* Fingers and the mouse on a run's chart. */

export function follow(chart, over) { // one finger reads, two zoom and move; with a mouse: drag zooms, Shift and drag moves
  const down = new Map();
  let before = null, grab = null;
  const pair = () => {
    const [a, b] = [...down.values()], left = over.getBoundingClientRect().left;
    return { about: (a + b) / 2 - left, apart: Math.max(Math.abs(a - b), 10) };
  };
  over.addEventListener("mousedown", (event) => {
    if (!event.shiftKey) return;
    event.stopImmediatePropagation();
    grab = { x: event.clientX, part: [...chart.part] };
  }, true);
  addEventListener("mousemove", (event) => {
    if (!grab || !over.isConnected) return;
    const by = ((grab.x - event.clientX) / over.clientWidth) * (grab.part[1] - grab.part[0]);
    chart.show(grab.part[0] + by, grab.part[1] + by);
  });
  addEventListener("mouseup", () => { grab = null; });
  over.addEventListener("pointerdown", (event) => {
    if (event.pointerType === "mouse") return;
    down.set(event.pointerId, event.clientX);
    before = down.size === 2 ? { ...pair(), part: [...chart.part] } : null;
    touch(chart, over, event);
  });
  over.addEventListener("pointermove", (event) => {
    if (!down.has(event.pointerId)) return;
    down.set(event.pointerId, event.clientX);
    if (down.size === 1) return touch(chart, over, event);
    if (!before) return;
    const now = pair(), wide = over.clientWidth, long = before.part[1] - before.part[0];
    const at = before.part[0] + (before.about / wide) * long, kept = long * (before.apart / now.apart);
    const first = at - (now.about / wide) * kept;
    chart.show(first, first + kept);
  });
  for (const name of ["pointerup", "pointercancel", "pointerleave"])
    over.addEventListener(name, (event) => { down.delete(event.pointerId); before = null; });
  over.addEventListener("wheel", (event) => {
    if (event.ctrlKey) chart.zoom(event.deltaY > 0 ? 1.25 : 0.8, chart.chart.posToVal(event.clientX - over.getBoundingClientRect().left, "x"));
    else if (Math.abs(event.deltaX) > Math.abs(event.deltaY)) chart.move(event.deltaX / over.clientWidth);
    else return;
    event.preventDefault();
  }, { passive: false });
}

function touch(chart, over, event) {
  const box = over.getBoundingClientRect();
  chart.chart.setCursor({ left: event.clientX - box.left, top: event.clientY - box.top });
}
