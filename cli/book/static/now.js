"use strict";
// Draws what the recorders say. Every word goes in as text, never as markup.
const SVG = "http://www.w3.org/2000/svg";
const MOST_POINTS = 4000;
const LOST_AFTER_MS = 15000;
const furnaces = new Map();
let heardAt = performance.now();
let drawing = 0;

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

function timeWords(seconds) {
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

function draw(furnace) {
  const { state, history } = furnace;
  const chart = furnace.at("chart");
  const wide = Math.max(280, chart.clientWidth || 800);
  const high = Math.max(200, chart.clientHeight || 380);
  chart.setAttribute("viewBox", `0 0 ${wide} ${high}`);
  chart.replaceChildren();
  const values = history.flatMap((row) => row.slice(1)).filter((v) => typeof v === "number");
  chart.parentElement.hidden = !values.length;
  if (!values.length) return;
  const holds = state.holds || [];
  const top = [...values, ...holds.map((h) => h.upper)].reduce((a, b) => Math.max(a, b)) * 1.05 + 5;
  const bottom = values.reduce((a, b) => Math.min(a, b), 0);
  const first = history[0][0];
  const last = Math.max(history[history.length - 1][0], first + 600);
  const left = 52, right = wide - 10, up = 10, down = high - 28;
  const x = (t) => left + (right - left) * (t - first) / (last - first);
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
  if (unread.length) chart.append(hatch(`hatch${furnace.number}`));
  for (const [from, to] of unread) {
    chart.append(part("rect", { class: "unread", x: x(from), width: Math.max(1, x(to) - x(from)), y: up, height: down - up, fill: `url(#hatch${furnace.number})` }));
  }
  const readings = state.readings || [];
  readings.forEach((reading, i) => {
    const look = reading.role === "setpoint" ? "line set" : i ? "line other" : "line";
    chart.append(part("path", { class: look, d: path(history, i + 1, x, y) }));
  });
  const others = readings.slice(1).filter((r) => r.role !== "setpoint").map((r) => r.name);
  furnace.at("legend").textContent = "Solid line: " + (readings.length ? readings[0].name : "measured") +
    (others.length ? "; dashed: " + others.join(", ") : "") +
    (readings.some((r) => r.role === "setpoint") ? "; thin grey line: setpoint" : "") +
    (unread.length ? "; hatched: nothing was read" : "") +
    (holds.length ? "; shaded: the recipe's bands, long dashes: their targets." : ".");
}

function ago(furnace) {
  const age = furnace.state.age_s;
  if (age === null || age === undefined) return "No reading yet.";
  const seconds = Math.max(0, Math.round(age + (performance.now() - furnace.agedAt) / 1000));
  return seconds < 120 ? `Last reading ${seconds} s ago.` : `Last reading ${timeWords(seconds)} ago.`;
}

const LOOKS = { pass: "good", fail: "bad", "not proven": "wait" };

function words(furnace) {
  const { state } = furnace;
  const unit = state.unit === "F" ? "°F" : "°C";
  const over = (state.ended || !state.run) && state.last_run;
  const last = over ? state.last || { says: "The run is over. Its verdict is being worked out." } : null;
  furnace.article.classList.toggle("stale", Boolean(state.silent) && !over);
  furnace.at("names").textContent = [state.furnace, over ? (state.last || {}).recipe || state.recipe : state.recipe].filter(Boolean).join(" · ");
  const tag = furnace.at("tag");
  tag.hidden = !(last && last.verdict);
  tag.textContent = last && last.verdict ? last.verdict : "";
  tag.className = "tag " + (last ? LOOKS[last.verdict] || "wait" : "");
  say(furnace.at("sentence"), last ? last.says : state.sentence || "");
  say(furnace.at("detail"), last ? [last.next, state.ended ? "" : state.sentence].filter(Boolean).join("\n") : state.detail || "");
  furnace.at("alarm").hidden = !state.alarm || state.ended;
  say(furnace.at("alarm"), state.ended ? "" : state.alarm || "");
  say(furnace.at("readings"), state.ended ? "" : (state.readings || [])
    .map((r) => `${r.name} ${typeof r.temp === "number" ? r.temp.toFixed(1) + " " + unit : "no reading"}`).join(", "));
  say(furnace.at("record"), state.ended ? "The run is over and sealed." :
    (state.silent ? "The recorder is silent: this picture is old. " : "") + ago(furnace) + " " + (state.record || ""));
}

function say(place, plain) {
  const text = plain.replace(/(\d) (?=(°[CF]|min|mm|h|s)\b)/g, "$1\u00a0");  // a number stays with its unit
  if (place.textContent !== text) place.textContent = text;
}

function lost() {
  const silent = performance.now() - heardAt > LOST_AFTER_MS;
  const line = document.getElementById("line");
  line.hidden = !silent;
  say(line, silent ? "No word from the book: what stands here is old." : "");
}

function card(name) {
  if (!furnaces.has(name)) {
    const made = document.getElementById("furnace").content.cloneNode(true).firstElementChild;
    document.getElementById("furnaces").append(made);
    const at = (part) => made.querySelector("." + part);
    furnaces.set(name, { article: made, at, state: {}, history: [], agedAt: 0, number: furnaces.size });
  }
  document.getElementById("quiet").hidden = true;
  return furnaces.get(name);
}

function take(news) {
  const furnace = card(news.furnace);
  if (news.past) furnace.history = news.past;
  else if (news.run && news.run !== furnace.state.run) furnace.history = [];
  if (!news.past && news.run && !news.ended) furnace.history.push([news.t_s, ...(news.readings || []).map((r) => r.temp)]);
  if (furnace.history.length > MOST_POINTS) furnace.history = furnace.history.filter((_, i) => i % 2 === 0);
  delete news.past;
  furnace.state = news;
  furnace.agedAt = performance.now();
  words(furnace);
  drawSoon();
  const only = furnaces.size === 1 ? furnace.at("sentence").textContent : "";
  document.title = only || "Now";
}

function drawSoon() {
  cancelAnimationFrame(drawing);
  drawing = requestAnimationFrame(() => furnaces.forEach(draw));
}

function hear(name, does) {
  stream.addEventListener(name, (event) => {
    heardAt = performance.now();
    does(JSON.parse(event.data));
    lost();
  });
}

const stream = new EventSource("/states");
hear("whole", (news) => news.furnaces.forEach(take));
hear("state", take);
hear("beat", (news) => news.furnaces.forEach((one) => {
  const furnace = furnaces.get(one.furnace);
  if (!furnace) return;
  Object.assign(furnace.state, one);
  furnace.agedAt = performance.now();
  words(furnace);
}));
setInterval(() => { furnaces.forEach(words); lost(); }, 1000);
window.addEventListener("resize", drawSoon);
