// Pictures of a run: the whole of it, and the hold at hand from near. Every word goes in as text, never as markup.
import { ROW_PX, placedFlags } from "./chart_painting.js";

const SVG = "http://www.w3.org/2000/svg";
const ZOOM_S = 2700;  // so much of the past is seen from near
const BANDS_BELOW = 4, BANDS_ABOVE = 2;

function part(name, attributes, text) {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  if (text !== undefined) node.textContent = text;
  return node;
}

function niceStep(span, most) {
  const raw = span / most;
  const power = Math.pow(10, Math.floor(Math.log10(raw)));
  return [1, 2, 5, 10].map((m) => m * power).find((s) => s >= raw);
}

function timeStep(span, wide) {
  const most = Math.max(3, Math.min(7, wide / 85));
  return [60, 300, 600, 900, 1800, 3600, 7200, 14400, 43200, 86400].find((s) => span / s <= most) || 172800;
}

export function timeWords(seconds) {
  const minutes = Math.round(seconds / 60);
  return minutes < 60 ? minutes + " min" : Math.floor(minutes / 60) + " h" + (minutes % 60 ? " " + (minutes % 60) : "");
}

function path(history, column, x, y) {
  let words = "";
  let open = false;
  for (const row of history) {
    const value = row[column];
    if (value === null || value === undefined) { open = false; continue; }
    words += (open ? "L" : "M") + x(row[0]).toFixed(1) + " " + y(value).toFixed(1);
    open = true;
  }
  return words;
}

function gaps(history) {
  const found = [];
  for (let i = 0, since = null; i < history.length; i++) {
    const had = history[i].slice(1).some((v) => typeof v === "number");
    if (had && since !== null) found.push([since, history[i][0]]);
    if (!had && since === null) since = i ? history[i - 1][0] : history[i][0];
    if (!had && i === history.length - 1) found.push([since, history[i][0]]);
    if (had) since = null;
  }
  return found;
}

function hatch(id) {
  const pattern = part("pattern", { id, width: 7, height: 7, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" });
  pattern.append(part("line", { class: "hatch", x1: 0, x2: 0, y1: 0, y2: 7 }));
  return pattern;
}


function lowest(values) { return values.reduce((a, b) => Math.min(a, b)); }
function highest(values) { return values.reduce((a, b) => Math.max(a, b)); }

// The run so far, with the bands of all holds.
export function drawWhole(furnace) {
  const { state, history } = furnace;
  const values = history.flatMap((row) => row.slice(1)).filter((v) => typeof v === "number");
  const chart = furnace.at("chart");
  chart.parentElement.hidden = !values.length;
  if (!values.length || chart.closest("[hidden]") || !chart.clientWidth) return;
  const holds = state.holds || [];
  const window = {
    first: history[0][0],
    last: Math.max(history[history.length - 1][0], history[0][0] + 600),
    bottom: lowest([...values, 0]),
    top: highest([...values, ...holds.map((h) => h.upper)]) * 1.05 + 5,
  };
  const unread = draw(chart, furnace, history, window, holds, "whole");
  legend(furnace, unread, holds);
}

// The hold at hand, so that its band can be read: with the moments from which and until which a piece may come out.
export function drawZoom(furnace) {
  const { state, history } = furnace;
  const chart = furnace.at("zoom");
  const hold = state.hold;
  const now = state.t_s;
  const recent = history.filter((row) => row[0] >= now - ZOOM_S);
  const span = hold ? Math.max(hold.upper - hold.lower, 2) : 0;
  const window = hold && { bottom: hold.lower - BANDS_BELOW * span, top: hold.upper + BANDS_ABOVE * span };
  const inside = hold && recent.filter((row) => row.slice(1).some((v) => v !== null && v >= window.bottom && v <= window.top));
  chart.parentElement.hidden = !inside || inside.length < 2;
  if (chart.parentElement.hidden || !chart.clientWidth) return;
  const next = (state.at_the_furnace || {}).next || {};
  const flags = [["not before", next.not_before_ms], ["not after", next.not_after_ms]]
    .filter(([, ms]) => ms)
    .map(([word, ms]) => [word, now + (ms - state.utc_ms) / 1000])
    .filter(([, t]) => t > now - ZOOM_S && t < now + ZOOM_S);
  window.first = Math.max(inside[0][0] - 120, now - ZOOM_S);
  window.last = Math.max(now + 60, window.first + 600, ...flags.map(([, t]) => t + 120));
  draw(chart, furnace, recent, window, [hold], "zoom", flags);
}

function draw(chart, furnace, history, { first, last, bottom, top }, holds, kind, flags = []) {
  const { state } = furnace;
  const wide = Math.max(280, chart.clientWidth || 800);
  const high = Math.max(150, chart.clientHeight || 380);
  const name = `${kind}${furnace.number}`;
  chart.setAttribute("viewBox", `0 0 ${wide} ${high}`);
  chart.replaceChildren();
  const left = 52, right = wide - 10, down = high - 28;
  const x = (t) => left + (right - left) * (t - first) / (last - first);
  const placed = placedFlags(flags.map(([word, t]) => ({ x: x(t), wide: 8 * word.length + 6 })), left, wide, 2);
  const up = 10 + ROW_PX * (1 + Math.max(-1, ...placed.map((one) => one.row)));
  const y = (v) => down - (down - up) * (v - bottom) / (top - bottom);
  const step = niceStep(top - bottom, 6);
  for (let v = Math.ceil(bottom / step) * step; v <= top; v += step) {
    chart.append(part("line", { class: "grid", x1: left, x2: right, y1: y(v), y2: y(v) }));
    chart.append(part("text", { x: left - 6, y: y(v) + 5, "text-anchor": "end" }, Math.round(v)));
  }
  const tick = timeStep(last - first, wide);
  for (let t = Math.ceil(first / tick) * tick; t <= last; t += tick) {
    chart.append(part("text", { x: x(t), y: high - 8, "text-anchor": t === first ? "start" : x(t) > right - 24 ? "end" : "middle" }, timeWords(t)));
  }
  for (const hold of holds) {
    chart.append(part("rect", { class: "band", x: left, width: right - left, y: y(hold.upper), height: Math.max(1, y(hold.lower) - y(hold.upper)) }));
    for (const edge of [hold.lower, hold.upper]) {
      chart.append(part("line", { class: "edge", x1: left, x2: right, y1: y(edge), y2: y(edge) }));
    }
    chart.append(part("line", { class: "target", x1: left, x2: right, y1: y(hold.target), y2: y(hold.target) }));
  }
  const unread = gaps(history);
  if (unread.length) chart.append(hatch(`hatch-${name}`));
  for (const [from, to] of unread) {
    chart.append(part("rect", { class: "unread", x: x(from), width: Math.max(1, x(to) - x(from)), y: up, height: down - up, fill: `url(#hatch-${name})` }));
  }
  const clip = part("clipPath", { id: `clip-${name}` });
  clip.append(part("rect", { x: left, y: up, width: right - left, height: down - up }));
  const lines = part("g", { "clip-path": `url(#clip-${name})` });
  (state.readings || []).forEach((reading, i) => {
    const look = reading.role === "setpoint" ? "line set" : i ? "line other" : "line";
    lines.append(part("path", { class: look, d: path(history, i + 1, x, y) }));
  });
  chart.append(clip, lines);
  flags.forEach(([word], i) => {
    const { x: at, row, begin } = placed[i];
    chart.append(part("line", { class: "flag", x1: at, x2: at, y1: up - ROW_PX * (row + 1), y2: down }));
    if (row >= 0) chart.append(part("text", { class: "flag", x: begin < at ? at - 4 : at + 4, y: up - ROW_PX * row - 5, "text-anchor": begin < at ? "end" : "start" }, word));
  });
  return unread.length > 0;
}

function legend(furnace, unread, holds) {
  const readings = furnace.state.readings || [];
  const others = readings.slice(1).filter((r) => r.role !== "setpoint").map((r) => r.name);
  furnace.at("legend").textContent = "Solid line: " + (readings.length ? readings[0].name : "measured") +
    (others.length ? "; dashed: " + others.join(", ") : "") +
    (readings.some((r) => r.role === "setpoint") ? "; thin grey line: setpoint" : "") +
    (unread ? "; hatched: nothing was read" : "") +
    (holds.length ? "; shaded: the recipe's bands, long dashes: their targets." : ".");
}
