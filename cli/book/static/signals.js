// Sound, vibration and a screen that stays on: as this device's owner wants them, as far as the browser allows.

const KEY = "soakwitness.signals";

export class Signals {
  constructor() {
    this.wanted = { sound: false, awake: false, keys: true };
    try { Object.assign(this.wanted, JSON.parse(localStorage.getItem(KEY) || "{}")); } catch { /* as if new */ }
    this.audio = null;
    this.lock = null;
    this.awakeSays = "";
    this.known = new Map();
    this.stood = new Map();
    for (const name of ["pointerdown", "keydown"]) window.addEventListener(name, () => this.touched(), { passive: true });
    document.addEventListener("visibilitychange", () => this.awake());
    this.awake();
  }

  set(name, on) {
    this.wanted[name] = on;
    try { localStorage.setItem(KEY, JSON.stringify(this.wanted)); } catch { /* for this visit only */ }
    if (name === "sound" && on) { this.touched(); this.ring(); }
    if (name === "awake") this.awake();
  }

  // Browsers let a page sound only after a touch.
  touched() {
    if (!this.wanted.sound) return;
    try {
      this.audio = this.audio || new AudioContext();
      if (this.audio.state === "suspended") this.audio.resume();
    } catch { /* no sound here */ }
  }

  get soundSays() {
    if (!this.wanted.sound) return "";
    return this.audio && this.audio.state === "running" ? "" : "Touch the page once: browsers let it sound only then.";
  }

  ring() {
    if (!this.wanted.sound) return;
    if (navigator.vibrate) { try { navigator.vibrate([300, 150, 300]); } catch { /* not here */ } }
    if (!this.audio || this.audio.state !== "running") return;
    for (const [after, pitch] of [[0, 880], [0.35, 880], [0.7, 1320]]) {
      const tone = this.audio.createOscillator();
      const loud = this.audio.createGain();
      const from = this.audio.currentTime + after;
      tone.frequency.value = pitch;
      loud.gain.setValueAtTime(0.0001, from);
      loud.gain.exponentialRampToValueAtTime(0.5, from + 0.02);
      loud.gain.exponentialRampToValueAtTime(0.0001, from + 0.28);
      tone.connect(loud).connect(this.audio.destination);
      tone.start(from);
      tone.stop(from + 0.3);
    }
  }

  // Ring once for each alarm that is new, and where the time to take out has come.
  look(furnace, kinds) {
    const before = this.known.get(furnace);
    this.known.set(furnace, new Set(kinds));
    if (before !== undefined && kinds.some((kind) => !before.has(kind))) this.ring();
  }

  async awake() {
    if (!this.wanted.awake) {
      this.awakeSays = "";
      if (this.lock) { this.lock.release().catch(() => {}); this.lock = null; }
      return;
    }
    if (!("wakeLock" in navigator)) {
      this.awakeSays = window.isSecureContext ? "This browser keeps no screen on: set the device itself." :
        "Over plain http no browser keeps a screen on: set the device itself, or serve the book over https.";
      return;
    }
    if (document.visibilityState !== "visible") return;
    try { this.lock = await navigator.wakeLock.request("screen"); this.awakeSays = ""; }
    catch { this.awakeSays = "The browser did not keep the screen on: is its battery low?"; }
  }
}
