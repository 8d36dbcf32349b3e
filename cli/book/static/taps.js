// Marks on their way: kept in the browser until the book has taken them, sent with their own moment.
// The device's clock is measured against the book's, so that a moment means the same there.

const KEY = "soakwitness.tap.";
const AGAIN_MS = 3000;
const CLOCK_EVERY_MS = 60000;
const CLOCK_KNOWN_MS = 2000;
const JUMPED_MS = 500;
const GONE_MS = 20000;  // taken by the book, and not seen in the run after so long: shown no longer
const REFUSED = new Set([400, 403, 404, 409, 413]);

export class Taps {
  constructor(changed) {
    this.changed = changed;
    this.kept = true;
    this.items = new Map();
    this.offMs = null;
    this.token = document.querySelector("meta[name=form-token]").content;
    this.sending = false;
    this.restUntil = 0;
    this.read();
    this.measure();
    setInterval(() => this.measure(), CLOCK_EVERY_MS);
    setInterval(() => this.tend(), AGAIN_MS);
    window.addEventListener("online", () => { this.restUntil = 0; this.measure(); this.send(); });
    window.addEventListener("storage", () => { this.read(); this.changed(); });
    this.drift = Date.now() - performance.now();
    this.send();
  }

  read() {
    try {
      for (let i = 0; i < localStorage.length; i++) {
        const key = localStorage.key(i);
        if (!key.startsWith(KEY)) continue;
        try {
          const item = JSON.parse(localStorage.getItem(key));
          if (item && item.id && item.run) this.items.set(item.id, item);
        } catch { localStorage.removeItem(key); }
      }
      for (const id of this.items.keys()) if (localStorage.getItem(KEY + id) === null) this.items.delete(id);
    } catch { this.kept = false; }
  }

  keep(item) {
    this.items.set(item.id, item);
    try { localStorage.setItem(KEY + item.id, JSON.stringify(item)); } catch { this.kept = false; }
    this.changed();
  }

  drop(id) {
    this.items.delete(id);
    try { localStorage.removeItem(KEY + id); } catch { this.kept = false; }
    this.changed();
  }

  // What was tapped, the oldest first.
  all() { return [...this.items.values()].sort((a, b) => a.at_ms - b.at_ms); }
  of(run) { return this.all().filter((item) => item.run === run); }
  unsent() { return this.all().filter((item) => item.stands === "waiting"); }

  tap(run, furnace, kind, about) {
    const random = crypto.getRandomValues(new Uint8Array(5));
    const id = [...random].map((byte) => byte.toString(16).padStart(2, "0")).join("");
    this.keep({ id, run, furnace, kind, at_ms: Date.now(), off_ms: this.offMs, stands: "waiting", why: "", ...about });
    this.send();
    return id;
  }

  // What the recorder has told of is on its way no longer.
  seen(run, ids) {
    for (const item of this.of(run)) if (item.stands === "sent" && (item.kind !== "mark" || ids.has(item.id))) this.drop(item.id);
  }

  tend() {
    for (const item of this.all()) if (item.stands === "sent" && Date.now() - item.sent_ms > GONE_MS) this.drop(item.id);
    const drift = Date.now() - performance.now();
    if (Math.abs(drift - this.drift) > JUMPED_MS) { this.offMs = null; this.drift = drift; this.measure(); }
    this.send();
  }

  // By how much this device's clock is ahead of the book's [ms]; null while that is not known.
  async measure() {
    let best = null;
    for (let i = 0; i < 3; i++) {
      try {
        const from = Date.now();
        const there = await this.here();
        const took = Date.now() - from;
        if (best === null || took < best.took) best = { took, off: from + took / 2 - there.utc_ms };
      } catch { break; }
    }
    if (best !== null && best.took / 2 <= CLOCK_KNOWN_MS) { this.offMs = Math.round(best.off); this.changed(); this.send(); }
  }

  async here() {
    const answer = await fetch("/here", { cache: "no-store", signal: AbortSignal.timeout(8000) });
    if (!answer.ok) throw new Error(String(answer.status));
    const there = await answer.json();
    this.token = there.form_token;
    return there;
  }

  clockFor(item) {
    if (item.off_ms === null || item.off_ms === undefined) return this.offMs === null ? "" : this.offMs;
    if (this.offMs !== null && Math.abs(this.offMs - item.off_ms) > CLOCK_KNOWN_MS) return "";  // it was set meanwhile
    return item.off_ms;
  }

  post(item) {
    const form = new URLSearchParams({ form_token: this.token, kind: item.kind, run: item.run, mark_id: item.mark_id || item.id });
    if (item.kind === "mark") {
      form.set("act", item.act);
      form.set("device_ms", String(item.at_ms));
      form.set("off_ms", String(this.clockFor(item)));
      if (item.note) form.set("note", item.note);
      for (const name of item.names) form.append("piece", name);
    }
    if (item.reason) form.set("why", item.reason);
    return fetch("/taps", { method: "POST", body: form, signal: AbortSignal.timeout(8000) });
  }

  async send() {
    if (this.sending || !this.unsent().length || performance.now() < this.restUntil) return;
    this.sending = true;
    try {
      for (const item of this.unsent()) {
        if (!this.items.has(item.id)) continue;
        let answer = await this.post(item);
        if (answer.status === 403) { await this.here(); answer = await this.post(item); }  // the book was started anew
        if (answer.ok) this.keep({ ...item, stands: "sent", sent_ms: Date.now() });
        else if (REFUSED.has(answer.status)) this.keep({ ...item, stands: "refused", why: await words(answer) });
        else { this.restUntil = performance.now() + AGAIN_MS; break; }
      }
    } catch { this.restUntil = performance.now() + AGAIN_MS; }  // the network is away
    this.sending = false;
  }
}

async function words(answer) {
  const text = await answer.text();
  try { return JSON.parse(text).refused || text; } catch { return text.trim(); }
}
