// *Now*: what the recorders say, and what is tapped. Every word goes in as text, never as markup.
import { drawWhole, drawZoom, timeWords } from "./chart.js";
import { Signals } from "./signals.js";
import { Taps } from "./taps.js";
import { doneWords, turnNow } from "./turn.js";

const MOST_POINTS = 4000;
const LOST_AFTER_MS = 15000;
const HELD_MS = 1000;  // again within this time is one that is held down, or a glove that trembles
const LOOKS = { pass: "good", fail: "bad", "not proven": "wait" };
const furnaces = new Map();
const mayMark = document.getElementById("furnaces").dataset.marks === "yes";
const byId = (id) => document.getElementById(id);
let heardAt = performance.now();
let drawing = 0;
let lastTap = -HELD_MS;
let touched = null;  // the furnace that was tapped last: keys speak of it where two record

const signals = new Signals();
const taps = new Taps(() => { furnaces.forEach(words); unsent(); });

function say(place, plain) {
  const text = plain.replace(/(\d) (?=(°[CF]|min|mm|h|s)\b)/g, "$1\u00a0")  // a number stays with its unit
    .replace(/(\w-)(?=\d)/g, "$1\u2060");  // and a piece's name is not parted
  if (place.textContent !== text) place.textContent = text;
}

function made(name, className, text) {
  const node = document.createElement(name);
  if (className) node.className = className;
  if (text !== undefined) say(node, text);
  return node;
}

// Build a list anew only where what it says is other: a focus or a finger stays where it is.
function fill(place, about, build) {
  const key = JSON.stringify(about);
  if (place.dataset.shows === key) return;
  place.dataset.shows = key;
  place.replaceChildren(...build());
}

function ago(furnace) {
  const age = furnace.state.age_s;
  if (age === null || age === undefined) return "No reading yet.";
  const seconds = Math.max(0, Math.round(age + (performance.now() - furnace.agedAt) / 1000));
  return seconds < 120 ? `Last reading ${seconds} s ago.` : `Last reading ${timeWords(seconds)} ago.`;
}

function isOver(state) { return (state.ended || !state.run) && state.last_run; }

function onTheWay(furnace) {
  const known = new Set(((furnace.state.at_the_furnace || {}).log || []).map((line) => line.id));
  return taps.of(furnace.state.run).filter((item) => item.kind === "mark" && item.stands !== "refused" && !known.has(item.id));
}

function words(furnace) {
  const { state } = furnace;
  const over = isOver(state);
  const last = over ? state.last || { says: "The run is over. It is being compared with its recipe now." } : null;
  const side = over || !state.run ? null : state.at_the_furnace;
  furnace.turn = side && side.turn ? turnNow(side, onTheWay(furnace)) : null;
  furnace.article.classList.toggle("over", Boolean(over));
  furnace.article.classList.toggle("stale", Boolean(state.silent) && !over);
  furnace.at("names").textContent = [state.furnace, over ? (state.last || {}).recipe || state.recipe : state.recipe].filter(Boolean).join(" · ");
  const tag = furnace.at("tag");
  tag.hidden = !(last && last.verdict);
  tag.textContent = last && last.verdict ? last.verdict : "";
  tag.className = "tag " + (last ? LOOKS[last.verdict] || "wait" : "");
  if (last) {
    say(furnace.at("sentence"), last.says);
    say(furnace.at("detail"), [last.next, state.ended ? "" : state.sentence].filter(Boolean).join("\n"));
  } else if (!furnace.turn) {
    say(furnace.at("sentence"), state.sentence || "");
    say(furnace.at("detail"), state.detail || "");
  }
  bench(furnace, side);
  furnace.at("alarm").hidden = !state.alarm || Boolean(over);
  say(furnace.at("alarm"), over ? "" : state.alarm || "");
  const unit = state.unit === "F" ? "°F" : "°C";
  say(furnace.at("readings"), state.ended ? "" : (state.readings || [])
    .map((r) => `${r.name} ${typeof r.temp === "number" ? r.temp.toFixed(1) + " " + unit : "no reading"}`).join(", "));
  say(furnace.at("record"), state.ended ? "The run is over and sealed." :
    (state.silent ? "The recorder is silent: this picture is old. " : "") + ago(furnace) + " " + (state.record || ""));
}

// What is done at the furnace: sentence, soak, target, pieces, log.
function bench(furnace, side) {
  const { turn } = furnace;
  const doing = Boolean(turn) && mayMark;
  furnace.at("doing").hidden = !doing;
  const told = turn ? side.turn : null;
  const moved = turn ? turn.moved : null;
  if (turn) {
    say(furnace.at("sentence"), moved ? `${doneWords(moved.names, moved.act, told.words)}.` : told.says || furnace.state.sentence || "");
    const kept = moved && moved.stands === "waiting" ? "kept here, waiting to be sent" : "on its way to the record";
    say(furnace.at("detail"), moved ? `Tapped at ${clock(moved.at_ms)}, ${kept}.` : told.more.join(" "));
  }
  const tone = moved ? "now" : told ? told.tone : "wait";
  furnace.article.classList.toggle("due", tone !== "wait");
  furnace.article.classList.toggle("overdue", tone === "late");
  const atHand = Boolean(turn) && (moved ? ["pull", "plates"].includes(moved.act) && turn.target.act !== "hand-warm" : told.at_hand);
  furnace.article.classList.toggle("at-hand", atHand);
  running(furnace, side, moved);
  soakBar(furnace, told && !moved && turn.target.act !== "plates" ? told.bar : null);
  if (doing) target(furnace, side);
  const log = side && side.log ? side.log : [];
  const undo = side ? side.undo.filter((one) => one.until_ms > furnace.state.utc_ms).map((one) => one.id) : [];
  fill(furnace.at("log"), [log, undo], () => log.map((line) => logLine(furnace, line, undo.includes(line.id))));
  const asked = side && side.asked ? side.asked : [];
  fill(furnace.at("questions"), asked, () => asked.map((text) => made("li", "", text)));
}

function clock(ms) { return new Date(ms).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", second: "2-digit", hour12: false }); }

// The seconds since the pull run against the recipe's.
function running(furnace, side, moved) {
  const place = furnace.at("running");
  let seconds = null;
  if (moved && moved.act === "pull") seconds = (Date.now() - moved.at_ms) / 1000;
  else if (!moved && side && side.pull) seconds = side.pull.ago_s + (performance.now() - furnace.heardAt) / 1000;
  const within = side && side.turn ? side.turn.within_s : null;
  place.hidden = seconds === null || (!moved && side.next.act !== "plates");
  if (place.hidden) return;
  place.classList.toggle("late", within !== null && seconds > within);
  say(place.querySelector("b"), `${Math.max(0, Math.floor(seconds))} s`);
  say(place.querySelector("span"), within === null ? "since the pull" : `since the pull, ${within} s allowed to the plates`);
}

function soakBar(furnace, bar) {
  const place = furnace.at("soakbar");
  place.hidden = !bar;
  if (!bar) return;
  const soak = furnace.at("soak");
  soak.firstElementChild.style.width = `${100 * bar.share}%`;
  soak.setAttribute("aria-label", `${bar.who}: ${bar.had}, ${bar.asked}`);
  say(furnace.at("had"), `${bar.had}, ${bar.who}`);
  say(furnace.at("asked"), bar.asked);
}

function target(furnace, side) {
  const { turn } = furnace;
  const chosen = turn.pieces.find((piece) => piece.piece !== null && piece.piece === furnace.chosen && piece.tap);
  if (!chosen) furnace.chosen = null;
  furnace.aim = chosen ? chosen.tap : turn.target;
  const act = furnace.at("act");
  say(act.querySelector("b"), furnace.aim.says);
  say(act.querySelector("span"), `Enters what was done: touch here${signals.wanted.keys ? ", any key or foot switch" : ""}`);
  const inside = turn.pieces.filter((piece) => piece.stands === "in").length;
  furnace.at("allout").hidden = !(inside > 1 && furnace.aim.act === "pull" && furnace.aim.names.length === 1);
  const back = takenBack(furnace, side);
  const undo = furnace.at("undo");
  undo.disabled = !back;
  say(undo.querySelector("small"), back ? back.says : "nothing to take back");
  const shown = turn.pieces.filter((piece) => piece.piece !== null);
  furnace.at("pieces").hidden = !shown.length;
  fill(furnace.at("pieces"), [shown, turn.next, furnace.chosen], () => shown.map((piece) => tile(furnace, piece)));
}

function tile(furnace, piece) {
  const node = made("button", "tile");
  node.textContent = piece.piece;
  node.type = "button";
  const isNext = furnace.turn.next.includes(piece.piece);
  node.classList.toggle("next", isNext);
  node.classList.toggle("out", piece.stands !== "in" && piece.stands !== "waiting");
  node.classList.toggle("chosen", furnace.chosen === piece.piece);
  node.setAttribute("aria-pressed", String(furnace.chosen === piece.piece));
  node.disabled = !piece.tap;
  node.append(made("small", "", (isNext ? "next; " : "") + piece.where));
  node.addEventListener("click", () => {
    furnace.chosen = furnace.chosen === piece.piece ? null : piece.piece;
    touched = furnace;
    words(furnace);
    furnace.at("act").focus({ preventScroll: true });
  });
  return node;
}

// What undo takes back: what has not been sent yet, else what the recorder says may be taken back.
function takenBack(furnace, side) {
  const waiting = onTheWay(furnace).filter((item) => item.stands === "waiting").pop();
  if (waiting) return { says: waiting.says, does: () => taps.drop(waiting.id) };
  if (onTheWay(furnace).length) return null;
  const asked = new Set(taps.of(furnace.state.run).filter((item) => item.kind === "undo").map((item) => item.mark_id));
  const told = side.undo.find((one) => one.until_ms > furnace.state.utc_ms && !asked.has(one.id));
  if (!told) return null;
  const says = doneWords(told.pieces, told.act, side.turn.words);
  return { says, does: () => taps.tap(furnace.state.run, furnace.state.furnace, "undo", { mark_id: told.id, names: [], says: `Taken back: ${says}` }) };
}

function logLine(furnace, line, mayUndo) {
  const node = made("li", line.struck ? "struck" : "");
  const time = made("time", "", line.at);
  const text = made("span", "", line.says);
  if (line.how) text.append(" ", made("em", "", line.how));
  node.append(time, text);
  if (line.id && !line.struck && mayMark) {
    const button = made("button", "small", mayUndo ? "Undo" : "Strike out");
    button.type = "button";
    button.setAttribute("aria-label", `${mayUndo ? "Undo" : "Strike out"}: ${line.says} at ${line.at}`);
    button.addEventListener("click", () => mayUndo ? undoLine(furnace, line) : strike(furnace, line));
    node.append(button);
  }
  return node;
}

function undoLine(furnace, line) {
  taps.tap(furnace.state.run, furnace.state.furnace, "undo", { mark_id: line.id, names: [], says: `Taken back: ${line.says}` });
}

function strike(furnace, line) {
  const dialog = byId("strike");
  say(byId("struck"), `${line.at}: ${line.says}`);
  byId("reason").value = "";
  dialog.returnValue = "";
  dialog.showModal();
  dialog.onclose = () => {
    const reason = byId("reason").value.trim();
    if (dialog.returnValue !== "strike" || !reason) return;
    taps.tap(furnace.state.run, furnace.state.furnace, "strike", { mark_id: line.id, names: [], reason, says: `Struck out: ${line.says}` });
  };
}

// A mark, by a touch or a key.
function enter(furnace, about) {
  if (!mayMark || !furnace.turn || performance.now() - lastTap < HELD_MS) return;
  lastTap = performance.now();
  touched = furnace;
  furnace.chosen = null;
  taps.tap(furnace.state.run, furnace.state.furnace, "mark", about);
  say(byId("heard"), `${about.says}, ${clock(Date.now())}`);
  words(furnace);
}

function unsent() {
  const shown = taps.all().filter((item) => item.stands !== "sent");
  fill(byId("unsent"), shown, () => shown.map((item) => {
    const node = made("li", item.stands === "refused" ? "bad" : "wait");
    const why = item.stands === "refused" ? `Not entered: ${item.why}` :
      `Waiting to be sent${taps.kept ? "" : "; this browser keeps nothing: leave the page open"}.`;
    node.append(made("span", "", `${clock(item.at_ms)} ${item.says}. ${why}`));
    if (item.stands === "refused") {
      const away = made("button", "small", "Put away");
      away.type = "button";
      away.addEventListener("click", () => taps.drop(item.id));
      node.append(away);
    }
    return node;
  }));
  say(byId("clock-says"), taps.offMs === null ? "This device's clock has not been compared with the book's: what is tapped counts as typed." :
    Math.abs(taps.offMs) > 2000 ? `This device's clock is ${Math.round(Math.abs(taps.offMs) / 1000)} s ${taps.offMs > 0 ? "ahead of" : "behind"} the book's: what is tapped counts as typed. Set it.` :
    "This device's clock and the book's agree.");
}

function lost() {
  const silent = performance.now() - heardAt > LOST_AFTER_MS;
  const line = byId("line");
  line.hidden = !silent;
  say(line, silent ? "No word from the book: what stands here is old. What is tapped is kept and sent when it is back." : "");
}

function card(name) {
  if (!furnaces.has(name)) {
    const article = byId("furnace").content.cloneNode(true).firstElementChild;
    byId("furnaces").append(article);
    const at = (part) => article.querySelector("." + part);
    const furnace = { article, at, state: {}, history: [], agedAt: 0, heardAt: 0, number: furnaces.size, turn: null, chosen: null, aim: null };
    furnaces.set(name, furnace);
    at("act").addEventListener("click", (event) => { if (furnace.aim) enter(furnace, furnace.aim); leave(event); });
    at("door").addEventListener("click", (event) => { enter(furnace, { act: "door", names: [], says: "The door was opened" }); leave(event); });
    at("allout").addEventListener("click", (event) => { enter(furnace, { act: "pull", names: [], says: "All are out" }); leave(event); });
    at("undo").addEventListener("click", (event) => {
      const back = takenBack(furnace, furnace.state.at_the_furnace);
      if (back) back.does();
      leave(event);
    });
  }
  byId("quiet").hidden = true;
  return furnaces.get(name);
}

// After a touch no button keeps the focus: the next key means the next act.
function leave(event) { if (event.detail > 0) event.currentTarget.blur(); }

// Keys: the furnace that is spoken of is the one in focus, the only one, or the one touched last.
function spokenOf() {
  const there = [...furnaces.values()].filter((furnace) => furnace.turn);
  const focused = there.find((furnace) => furnace.article.contains(document.activeElement));
  return focused || (there.length === 1 ? there[0] : there.includes(touched) ? touched : null);
}

window.addEventListener("keydown", (event) => {
  if (!signals.wanted.keys || event.ctrlKey || event.altKey || event.metaKey || byId("strike").open) return;
  const letter = event.key.length === 1 && event.key !== " ";
  if (!letter && event.key !== " " && event.key !== "Enter") return;
  const at = document.activeElement;
  if (at && at.matches("input[type=text], textarea, select")) return;
  if (!letter && at && at.matches("a, summary, input, button")) return;  // these keys press what has the focus
  event.preventDefault();
  if (event.repeat) return;
  const furnace = spokenOf();
  if (furnace && furnace.aim) enter(furnace, furnace.aim);
  else if (!furnace && furnaces.size > 1) say(byId("heard"), "Two furnaces record: touch the one that is meant, then press again.");
});

function take(news) {
  const furnace = card(news.furnace);
  if (news.past) furnace.history = news.past;
  else if (news.run && news.run !== furnace.state.run) furnace.history = [];
  if (!news.past && news.run && !news.ended) furnace.history.push([news.t_s, ...(news.readings || []).map((r) => r.temp)]);
  if (furnace.history.length > MOST_POINTS) furnace.history = furnace.history.filter((_, i) => i % 2 === 0);
  delete news.past;
  furnace.state = news;
  furnace.agedAt = furnace.heardAt = performance.now();
  const side = news.at_the_furnace;
  if (side && side.log) taps.seen(news.run, new Set(side.log.map((line) => line.id)));
  if (!news.ended) signals.look(news.furnace, Object.keys(news.alarms || {}));
  words(furnace);
  drawSoon();
  const only = furnaces.size === 1 ? furnace.at("sentence").textContent : "";
  document.title = only || "Now";
}

function drawSoon() {
  cancelAnimationFrame(drawing);
  drawing = requestAnimationFrame(() => furnaces.forEach((furnace) => {
    if (furnace.article.classList.contains("at-hand")) return;
    drawWhole(furnace);
    drawZoom(furnace);
  }));
}

function settings() {
  for (const name of ["sound", "awake", "keys"]) {
    const box = byId(name);
    box.checked = signals.wanted[name];
    box.addEventListener("change", () => { signals.set(name, box.checked); furnaces.forEach(words); });
  }
}

function listen() {
  const stream = new EventSource("/states");
  const hear = (name, does) => stream.addEventListener(name, (event) => {
    heardAt = performance.now();
    does(JSON.parse(event.data));
    lost();
    taps.send();
  });
  hear("whole", (news) => news.furnaces.forEach(take));
  hear("state", take);
  hear("beat", (news) => news.furnaces.forEach(beat));
  stream.addEventListener("error", () => {
    if (stream.readyState === EventSource.CLOSED) setTimeout(listen, 3000);  // refused, not only cut off
  });
}

function beat(one) {
  const furnace = furnaces.get(one.furnace);
  if (!furnace) return;
  Object.assign(furnace.state, one);
  furnace.agedAt = performance.now();
  words(furnace);
}

listen();
settings();
unsent();
setInterval(() => {
  furnaces.forEach(words);
  lost();
  say(byId("sound-says"), signals.soundSays);
  say(byId("awake-says"), signals.awakeSays);
}, 1000);
window.addEventListener("resize", drawSoon);
