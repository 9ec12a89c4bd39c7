"use strict";
// The strip in the hand. A tap is stamped at the touch, kept on this phone, and sent until the recorder says that it is
// on the disk. What is shown is the recorder's state with the taps on top of it that it has not heard of.

const $ = (id) => document.getElementById(id);
const UNSAFE_MS = 1500, SILENT_S = 8, WINDOW = 40, SWIPE_PX = 14, HOLD_MS = 500, LANE_PX = 46;
const token = location.hash.slice(1);

function uuid() { // crypto.randomUUID is not there over plain http
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

function remembered(name, otherwise) {
  try {
    let value = localStorage.getItem("etholog-" + name);
    if (value === null && otherwise !== null) localStorage.setItem("etholog-" + name, value = otherwise);
    return value;
  } catch { return otherwise; }
}

const phone = remembered("phone", uuid());
let epoch = uuid();        // changes with each load and each wake: this clock runs since then
let clock = null;          // how it compares with the recorder's: asked, shown here, came
let welcome = null, state = null, stateAt = 0;
let socket = null, goes = false, asks = false, ended = "", tries = 0, silent = 0, goneSince = performance.now();
let picks = null;          // what a lane is to be picked for: the mark that should have been another
let sortedBy = "", allFit = true, rows = 0;

// ------------------------------------------------------------ taps kept on this phone

let kept = null;           // the database; null where the browser has none
let isStored = true;       // whether the last tap went into it: the phone's storage may be full
const unstored = new Set();
let queue = [];            // taps that are not confirmed, in their order
const homeless = new Set();

function opened() {
  return new Promise((done) => {
    let asked;
    try { asked = indexedDB.open("etholog", 1); } catch { return done(null); }
    asked.onupgradeneeded = () => asked.result.createObjectStore("taps", { keyPath: "order" });
    asked.onsuccess = () => {
      asked.result.onclose = reopen;
      done(asked.result);
    };
    asked.onerror = asked.onblocked = () => done(null);
  });
}

function store(work, went) {
  if (!kept) return void reopen();
  let asked;
  try { asked = kept.transaction("taps", "readwrite", { durability: "strict" }); } catch { return void reopen(); }
  asked.oncomplete = () => went?.(true);
  asked.onabort = () => went?.(false);
  work(asked.objectStore("taps"));
}

function keepOn(tap) {
  const { sentBy: _by, ...rest } = tap;
  store((taps) => taps.put(rest), (went) => {
    isStored = went;
    if (went) unstored.delete(tap.id);
    else unstored.add(tap.id);
    showLink();
  });
}

// Browsers take the database away when their data are cleared, and from pages that sleep: what waits goes into a new one.
let reopens = false;
async function reopen() {
  kept = null;
  if (reopens) return;
  reopens = true;
  kept = await opened();
  for (const tap of queue) keepOn(tap);
  reopens = false;
  showLink();
}

function load() {
  return new Promise((done) => {
    if (!kept) return done([]);
    const asked = kept.transaction("taps").objectStore("taps").getAll();
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => done([]);
  });
}

let order = Date.now();
function keep(tap) {
  tap.order = order = Math.max(order + 1, Date.now());
  queue.push(tap);
  keepOn(tap);
  send();
  show();
}

function confirmed(ids) {
  const gone = new Set(ids);
  for (const tap of queue) if (gone.has(tap.id)) store((taps) => taps.delete(tap.order));
  queue = queue.filter((tap) => !gone.has(tap.id));
  for (const id of ids) unstored.delete(id);
  for (const tap of queue) if (unstored.has(tap.id)) keepOn(tap); // there may be room again
  send();
  show();
}

function send() {
  if (!goes || !socket || socket.readyState !== WebSocket.OPEN) return;
  let under = 0;
  for (const tap of queue) {
    if (homeless.has(tap.id)) continue;
    if (under++ >= WINDOW) return;
    if (tap.sentBy === socket) continue;
    tap.sentBy = socket;
    const { order: _order, sentBy: _by, ...told } = tap;
    socket.send(JSON.stringify(told));
  }
}

// ------------------------------------------------------------ the laptop

function connect() {
  if (ended) return;
  const line = new WebSocket((location.protocol === "https:" ? "wss://" : "ws://") + location.host + "/socket");
  socket = line;
  silent = 0;
  line.onopen = () => {
    silent = 0;
    line.send(JSON.stringify({ do: "hello", token, phone, epoch, wall: Date.now() }));
  };
  line.onmessage = (event) => {
    if (line !== socket) return;
    silent = 0;
    heard(JSON.parse(event.data), line);
  };
  line.onclose = () => { if (line === socket) lost(); };
}

function lost(since = performance.now()) {
  if (goes || goneSince === null) goneSince = since;
  socket = null;
  goes = asks = false;
  for (const tap of queue) delete tap.sentBy;
  show();
  setTimeout(connect, Math.min(3000, 300 * 2 ** tries++));
}

// The laptop says something every 2 s. A network that vanishes closes nothing: a browser would wait for minutes.
function listen() {
  if (!socket || ++silent <= SILENT_S) return;
  const line = socket;
  lost(performance.now() - 1000 * silent);
  line.close();
}

function heard(told, line) {
  switch (told.do) {
    case "show": // first of all: what takes time here widens the bounds
      line.send(JSON.stringify({ do: "shows", n: told.n, epoch, at: performance.now() }));
      break;
    case "clock":
      if (told.epoch !== epoch || !told.clock) break;
      clock = told.clock;
      for (const tap of queue) if (tap.epoch === epoch && !tap.clock) {
        tap.clock = clock;
        keepOn(tap);
      }
      break;
    case "welcome":
      welcome = told;
      asks = false;
      tries = 0;
      dress();
      break;
    case "go":
      goes = true;
      goneSince = null;
      send();
      show();
      break;
    case "now":
      stateAt = performance.now();
      if (state) state = told;
      else {
        state = told;
        layOut(true, true);
      }
      show();
      break;
    case "safe":
      confirmed(told.ids);
      break;
    case "homeless":
      for (const id of told.ids) homeless.add(id);
      send();
      show();
      break;
    case "wait":
      asks = true;
      show();
      break;
    case "no":
    case "again":
    case "elsewhere":
      ended = { no: "This code is not valid any more. Scan the code on the laptop again (Ctrl-P).",
        again: "This phone has the page open a second time. Reload this one to go on here.",
        elsewhere: "Another phone is the keyboard now. Reload this page to ask for its place." }[told.do];
      show();
      break;
  }
}

function woke() {
  epoch = uuid();
  clock = null;
  goes = false;
  if (socket && socket.readyState === WebSocket.OPEN && welcome)
    socket.send(JSON.stringify({ do: "woke", epoch, wall: Date.now() }));
  stayAwake();
  show();
}

let ahead = Date.now() - performance.now();
function compareOwn() { // this phone's two clocks: one of them stood still, or was set
  const now = Date.now() - performance.now();
  if (Math.abs(now - ahead) > 400) woke();
  ahead = now;
}
setInterval(() => {
  compareOwn();
  listen();
}, 1000);
document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") woke(); });
addEventListener("hashchange", () => { // the code of another evening, in the same tab
  ended = "Opens the other session.";
  location.reload();
});
addEventListener("beforeunload", (event) => { // without the laptop it can't be loaded again
  const isOver = ended || (state && state.over && !queue.length);
  if (welcome && !goes && !isOver) event.preventDefault();
});
addEventListener("pageshow", (event) => { if (event.persisted) woke(); });

let canStayAwake = "wakeLock" in navigator, lock = null;
async function stayAwake() {
  if (!canStayAwake || document.visibilityState !== "visible") return;
  try { lock = await navigator.wakeLock.request("screen"); } catch { canStayAwake = false; show(); }
}

// ------------------------------------------------------------ what a touch means

function stamped(event) {
  const now = performance.now();
  return event && event.timeStamp > 0 && Math.abs(now - event.timeStamp) < 5000 ? event.timeStamp : now;
}

function tapped(at, said) {
  if (!welcome || ended) return;
  compareOwn();
  navigator.vibrate?.(said.act === "rescue" ? [80, 60, 80] : 15);
  keep({ do: "tap", id: uuid(), session: welcome.session, epoch, at, wall: Date.now() - (performance.now() - at), clock,
    what: "", act: "", of: null, text: "", ...said });
}

// Taps that the recorder has not heard of, as far as this page knows.
const unheard = () => {
  const known = new Set(state ? state.heard : []);
  return queue.filter((tap) => welcome && tap.session === welcome.session && !known.has(tap.id));
};

// Those of them that count: no other one takes them back.
const standing = (taps) => {
  const undone = new Set(queue.filter((tap) => tap.act === "undo").map((tap) => tap.of));
  return taps.filter((tap) => !undone.has(tap.id));
};

const touchedAt = (tap) => now() - (performance.now() - tap.at);

function gapSince() { // when nobody began to watch, with the taps on top; null where somebody does
  let since = state.gap ? state.gap[0] : null;
  for (const tap of standing(unheard())) {
    if (tap.act === "away") since = since === null ? touchedAt(tap) : null;
    else if (!tap.act) since = null;
  }
  return since;
}

function undoable() { // what can be taken back, the last first
  const stack = state ? state.undo.map(([n, text]) => [n, text]) : [];
  for (const tap of unheard()) {
    if (tap.act === "undo") stack.shift();
    else stack.unshift([tap.id, words(tap)]);
  }
  return stack;
}

function inHand() { // the mark that a correction is for: what it is called there, and whether it has another meaning
  let hand = state && state.hand ? { of: state.hand[0], other: state.hand[2] } : null;
  for (const tap of unheard()) {
    if (tap.act === "undo" && hand && tap.of === hand.of) hand = null;
    else if (!tap.act) hand = { of: tap.id, other: laneOf(tap.what)?.other ?? false };
  }
  return hand;
}

const laneOf = (what) => welcome.lanes.find((lane) => lane.taps.some(([own]) => own === what));
function words(tap) {
  if (tap.act) return welcome.acts[tap.act];
  const lane = laneOf(tap.what), side = lane?.taps.find(([own]) => own === tap.what)?.[1];
  return lane ? lane.label + (side ? " " + side : "") : tap.what;
}

function laneTapped(what, at) {
  if (picks !== null) {
    tapped(at, { act: "other", what, of: picks });
    picks = null;
    show();
  } else tapped(at, { what });
}

function corrected(act, at) {
  if (act === "undo") {
    const [top] = undoable();
    tapped(at, { act, of: top ? top[0] : null });
  } else if (act === "away") tapped(at, { act });
  else {
    const hand = inHand();
    if (act !== "other" || (hand && hand.other)) tapped(at, { act, of: hand ? hand.of : null });
    else {
      picks = picks === null && hand ? hand.of : null;
      show();
    }
  }
}

// A touch counts where it began; one that turns into a swipe, or leaves its button, is none.
function touchable(button, does) {
  const downs = new Map();
  const lift = (event) => {
    downs.delete(event.pointerId);
    if (!downs.size) button.classList.remove("down");
  };
  button.addEventListener("pointerdown", (event) => {
    if (event.button) return;
    downs.set(event.pointerId, { at: stamped(event), x: event.clientX, y: event.clientY });
    button.classList.add("down");
  });
  button.addEventListener("pointerup", (event) => {
    const down = downs.get(event.pointerId);
    lift(event);
    if (down && Math.hypot(event.clientX - down.x, event.clientY - down.y) < SWIPE_PX) does(down.at);
  });
  button.addEventListener("pointercancel", lift);
  button.addEventListener("pointerleave", lift);
  button.addEventListener("click", (event) => { if (event.detail === 0) does(stamped(event)); }); // by a key, or a reader
  button.addEventListener("contextmenu", (event) => event.preventDefault());
}

for (const act of ["undo", "earlier", "other", "doubt", "away"]) touchable($(act), (at) => corrected(act, at));

let noteAt = 0;
touchable($("note"), (at) => {
  if (!$("text").value.trim()) noteAt = at;
  $("words").showModal();
});
$("words").addEventListener("close", () => {
  const text = $("text").value.trim(), answer = $("words").returnValue;
  if (answer === "keep" && text) tapped(noteAt, { act: "note", text });
  if (answer) $("text").value = ""; // what the back button closed is there again
  $("words").returnValue = "";
});

let holding = null;
function hold(event) {
  if (holding || (event.type === "keydown" && ![" ", "Enter"].includes(event.key))) return;
  const at = stamped(event);
  $("rescue").classList.add("held");
  holding = setTimeout(() => {
    release();
    tapped(at, { act: "rescue" });
    alarm();
  }, HOLD_MS);
}
function release() {
  clearTimeout(holding);
  holding = null;
  $("rescue").classList.remove("held");
}
for (const name of ["pointerdown", "keydown"]) $("rescue").addEventListener(name, hold);
for (const name of ["pointerup", "pointercancel", "pointerleave", "keyup", "blur"]) $("rescue").addEventListener(name, release);
$("rescue").addEventListener("contextmenu", (event) => event.preventDefault());

function alarm() {
  $("todo").replaceChildren(...welcome.rescue.map((line) => {
    const item = document.createElement("li");
    item.textContent = line;
    return item;
  }));
  if (!$("alarm").open) $("alarm").showModal();
}

$("stage").addEventListener("click", () => { layOut(true); });
$("turn").addEventListener("click", () => {
  const lanes = $("lanes"), sheets = lanes.children.length;
  lanes.scrollTo({ left: ((sheetShown() + 1) % sheets) * lanes.clientWidth, behavior: "auto" });
});
$("lanes").addEventListener("scroll", () => showTurn(), { passive: true });
$("hand").addEventListener("click", () => {
  const left = !document.body.classList.contains("left");
  try { localStorage.setItem("etholog-hand", left ? "left" : "right"); } catch { /* it lasts until the page is left */ }
  dress(left);
});

// ------------------------------------------------------------ what is shown

function dress(left = remembered("hand", null) === "left") {
  const root = document.documentElement.style, { theme } = welcome;
  for (const name of ["ground", "faint", "alarm", "male", "female", "pair", "keeper"]) root.setProperty("--" + name, theme[name]);
  root.setProperty("--ink", theme.text);
  document.body.classList.toggle("left", left);
  $("hand").textContent = left ? "buttons to the right" : "buttons to the left";
  $("hand").hidden = $("thumb").hidden = $("stage").hidden = false;
  $("pair").textContent = welcome.pair;
  $("text").maxLength = welcome.note;
  for (const [act, word] of Object.entries(welcome.acts)) if (act !== "rescue") $(act).textContent = word;
}

// Puts the lanes in their order: those of the running stage first where they do not all fit. Only a load, a turn of the
// phone and the keeper's own wish change it, never the recorder.
function layOut(byStage = false, anew = false) {
  const room = Math.max(1, Math.floor($("lanes").clientHeight / LANE_PX));
  if (room === rows && !byStage && !anew) return;
  rows = room;
  allFit = welcome.lanes.length <= room;
  if (byStage || !sortedBy) sortedBy = state ? state.stage : "";
  const first = (lane) => !allFit && sortedBy && lane.stage === sortedBy;
  const sorted = [...welcome.lanes.filter(first), ...welcome.lanes.filter((lane) => !first(lane))];
  const sheets = [];
  for (let at = 0; at < sorted.length; at += room) {
    const sheet = document.createElement("div");
    sheet.className = "sheet";
    sheet.append(...sorted.slice(at, at + room).map(laneBar));
    sheets.push(sheet);
  }
  $("lanes").replaceChildren(...sheets);
  $("lanes").scrollLeft = 0;
  show();
}

function laneBar(lane) {
  const bar = document.createElement("div");
  bar.className = `lane ${lane.actor}${lane.taps.length > 1 ? " two" : ""}`;
  bar.dataset.code = lane.code;
  const part = (tag, name, text) => {
    const made = document.createElement(tag);
    made.className = name;
    if (text !== undefined) made.textContent = text;
    if (tag !== "button") made.setAttribute("aria-hidden", "true");
    bar.append(made);
    return made;
  };
  part("canvas", "trace");
  part("span", "name", lane.label);
  part("span", "sum");
  lane.taps.slice(0, 2).forEach(([what, side], at) => {
    if (side) part("span", at ? "side second" : "side", side);
    const button = part("button", "");
    button.type = "button";
    button.dataset.what = what;
    button.setAttribute("aria-label", side ? `${lane.label}, ${side}` : lane.label);
    touchable(button, (when) => laneTapped(what, when));
  });
  return bar;
}

const face = (ms) => {
  const s = Math.floor(Math.max(0, ms) / 1000), two = (n) => String(n).padStart(2, "0");
  return `${Math.floor(s / 3600)}:${two(Math.floor(s / 60) % 60)}:${two(s % 60)}`;
};
const length = (ms) => { // to the nearest second, a half to the even one, as the laptop rounds
  const exact = Math.max(0, ms) / 1000, s = exact % 1 === 0.5 ? 2 * Math.round(exact / 2) : Math.round(exact);
  return s >= 3600 ? face(1000 * s) : `${Math.floor(s / 60)}:${String(s % 60).padStart(2, "0")}`;
};
const now = () => state ? state.t + performance.now() - stateAt : 0;

// The recorder's state with the unheard taps on top, by the rules of chains that it will apply itself.
function predicted() {
  const lanes = new Map(welcome.lanes.map((lane) => {
    const [count, ended, running, shown] = state.lanes[lane.code] ?? [0, 0, [], []];
    return [lane.code, { lane, count, ended, running: running.map((one) => [...one]), shown, waits: 0 }];
  }));
  const stop = (one, t) => {
    for (const [onset, , sure, side] of one.running) one.shown = [[onset, t, sure, side], ...one.shown];
    for (const [onset] of one.running) one.ended += Math.max(0, t - onset);
    const ran = one.running.length > 0;
    one.running = [];
    if (ran) for (const inner of lanes.values()) if (inner.lane.within === one.lane.code) stop(inner, t);
  };
  for (const tap of standing(unheard())) {
    const lane = tap.act ? null : laneOf(tap.what);
    if (!lane) continue;
    const one = lanes.get(lane.code), t = touchedAt(tap), side = lane.taps.find(([own]) => own === tap.what)[1];
    one.waits++;
    if (lane.kind === "event") {
      one.count++;
      one.shown = [[t, t, true, side], ...one.shown];
      for (const code of lane.ends) if (lanes.has(code)) stop(lanes.get(code), t);
      continue;
    }
    if (one.running.some((bout) => bout[3] === side)) { stop(one, t); continue; }
    for (const rival of lanes.values()) if ((lane.chain && rival.lane.chain === lane.chain) || lane.ends.includes(rival.lane.code)) stop(rival, t);
    one.count++;
    one.running = [...one.running, [t, t, true, side]];
  }
  return lanes;
}

function show() {
  showLink();
  if (!welcome || !state) return;
  const t = now(), lanes = predicted(), late = performance.now() - UNSAFE_MS;
  $("clock").textContent = face(t);
  const moved = !allFit && state.stage && state.stage !== sortedBy;
  $("stage").textContent = (state.stage || "before").toUpperCase() + (moved ? ": show its lanes" : "");
  $("stage").classList.toggle("moved", Boolean(moved));
  const since = gapSince();
  $("away").classList.toggle("on", since !== null);
  $("away").textContent = since === null ? welcome.acts.away : "watch again";
  $("other").classList.toggle("on", picks !== null);
  const [top] = undoable();
  $("undo").setAttribute("aria-label", top ? `take back: ${top[1]}` : "take back");
  $("said").textContent = picks !== null ? "Tap the lane that it should have been"
    : since !== null ? `Nobody watches since ${face(since)}. Any mark ends that.`
    : unheard().length ? `${words(unheard().at(-1))} ...` : state.said;
  for (const bar of document.querySelectorAll(".lane")) {
    const one = lanes.get(bar.dataset.code), sum = bar.querySelector(".sum");
    const runs = one.running.length > 0;
    const unsafe = standing(queue).filter((tap) => !tap.act && tap.at < late && tap.epoch === epoch || tap.epoch !== epoch)
      .filter((tap) => one.lane.taps.some(([own]) => own === tap.what)).length;
    bar.classList.toggle("runs", runs);
    const total = one.ended + one.running.reduce((all, [onset]) => all + Math.max(0, t - onset), 0);
    const told = one.count ? (one.lane.kind === "event" ? `${one.count}` : `${one.count}  ${length(total)}`) : "";
    const text = unsafe ? `${unsafe} not yet safe` : told;
    if (sum.textContent !== text) sum.textContent = text;
    sum.classList.toggle("unsafe", unsafe > 0);
    for (const side of bar.querySelectorAll(".side"))
      side.classList.toggle("on", one.running.some((bout) => bout[3] === side.textContent));
    for (const button of bar.querySelectorAll("button")) button.setAttribute("aria-pressed",
      String(one.running.some((bout) => bout[3] === (one.lane.taps.find(([own]) => own === button.dataset.what)[1]))));
    draw(bar.querySelector("canvas"), one, t, since);
  }
  showTurn();
}

function showLink() {
  const waits = queue.filter((tap) => !homeless.has(tap.id)).length;
  const keepsNothing = !kept || !isStored, why = kept ? "is the phone full?" : "a private window?";
  const many = (n) => `${n} ${n === 1 ? "tap" : "taps"}`;
  let text = "", since = "", trouble = true;
  if (ended) text = ended + (waits ? ` ${many(waits)} kept on this phone.` : "");
  else if (state && state.over) {
    text = waits ? `The session has ended; ${many(waits)} still to be sent: leave this page open.`
      : "The session has ended. All taps are safe; this page can be closed.";
    trouble = waits > 0;
  } else if (asks) text = "Another phone is the keyboard. Ctrl-P on the laptop lets this one in.";
  else if (!goes && goneSince !== null && performance.now() - goneSince > 1500) {
    text = `NO LAPTOP. Go on: ${waits ? many(waits) + " kept here" : "taps are kept here"} until it is back`
      + (keepsNothing ? `, on this page alone (${why}): do not close or reload it.` : ".");
    since = ` ${length(performance.now() - goneSince)}`;
  } else if (!goes) {
    text = "Compares the clocks";
    trouble = false;
  } else if (state && state.trouble) text = "The laptop's disk: " + state.trouble;
  else if (homeless.size) text = `${many(homeless.size)} of a session that is not on this laptop, kept here.`;
  else if (keepsNothing) text = `This browser keeps nothing (${why}): do not close or reload the page.`;
  else {
    trouble = false;
    text = canStayAwake ? "" : "Set the phone's screen time-out to its longest: over plain http this page can't keep it on.";
    if (state && state.prompt) text = state.prompt;
  }
  if ($("standing").textContent !== text) $("standing").textContent = text;
  $("since").textContent = since; // not read aloud: it changes each second
  $("link").classList.toggle("trouble", trouble);
}

const sheetShown = () => Math.round($("lanes").scrollLeft / Math.max(1, $("lanes").clientWidth));
function showTurn() {
  const sheets = $("lanes").children.length;
  $("turn").hidden = sheets < 2;
  const text = `${sheetShown() + 1} of ${sheets}`;
  if ($("turn").textContent !== text) {
    $("turn").textContent = text;
    $("turn").setAttribute("aria-label", `lanes, sheet ${text}; turn`);
  }
}

function draw(canvas, one, t, since) {
  const ratio = devicePixelRatio || 1, width = Math.round(canvas.clientWidth * ratio), height = Math.round(canvas.clientHeight * ratio);
  if (!width) return;
  if (canvas.width !== width || canvas.height !== height) [canvas.width, canvas.height] = [width, height];
  const ink = canvas.getContext("2d"), style = getComputedStyle(canvas);
  const x = (ms) => width - (t - ms) / welcome.trace * width;
  ink.clearRect(0, 0, width, height);
  ink.fillStyle = ink.strokeStyle = style.color;
  ink.globalAlpha = 0.35;
  ink.fillRect(0, height - 1, width, 1);
  if (since !== null) for (let at = x(since); at < width; at += 6 * ratio) ink.fillRect(at, 0, 2 * ratio, height);
  ink.globalAlpha = 1;
  const bar = (from, to, sure) => {
    if (sure) ink.fillRect(x(from), height * 0.35, Math.max(2 * ratio, x(to) - x(from)), height * 0.5);
    else for (let at = x(from); at < Math.max(x(from) + 2, x(to)); at += 6 * ratio) ink.fillRect(at, height * 0.35, 3 * ratio, height * 0.5);
  };
  for (const [onset, offset, sure] of one.shown) {
    if (one.lane.kind === "event") ink.fillRect(x(onset) - ratio, sure ? 0 : height * 0.5, 2 * ratio, height);
    else bar(onset, offset, sure);
  }
  for (const [onset, , sure] of one.running) bar(onset, t, sure);
}

const fit = () => { if (welcome && !document.querySelector("dialog[open]")) layOut(); };
addEventListener("resize", fit);
for (const name of ["words", "alarm"]) $(name).addEventListener("close", fit); // the phone was turned meanwhile
setInterval(show, 500);

(async () => {
  kept = await opened();
  queue = [...await load(), ...queue].sort((a, b) => a.order - b.order);
  if (queue.length) order = Math.max(order, queue.at(-1).order);
  if (!token) {
    ended = "Open this page by the code on the laptop (Ctrl-P there shows it).";
    show();
  } else connect();
  stayAwake();
})();
