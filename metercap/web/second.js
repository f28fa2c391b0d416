// The second screen: it draws the newest glance and works nothing out. Every text goes in as text, never as markup.
import { listen } from "/feed.js";
import { Board } from "/board.js";

const $ = (id) => document.getElementById(id);
const MARKS = { pass: "✓", fail: "✗", unsure: "?", absent: "–", skipped: "↷" };
const CALM_MS = 400; // a finger that was on its way when the question changed has not read the new one
const SAID_MS = 1500;
const LONG = 90; // letters of an instruction that are drawn smaller, and whole
const WIDE = 1500, TURN_MS = 6000;
const GAP = 3, WIDEST = 64; // of the path's stones, as in the style sheet

const board = new Board();
let glance = null;
let shownPrompt = null;
let shownAt = 0;
let saidAt = -Infinity;

function element(tag, className, text) {
  const made = document.createElement(tag);
  if (className) made.className = className;
  if (text !== undefined) made.textContent = text;
  return made;
}

function text(id, line) {
  const { text: words = "", tone = "" } = typeof line === "string" ? { text: line } : line ?? {};
  const at = $(id);
  if (at.textContent !== words) at.textContent = words;
  at.className = tone;
}

function fill(id, parts, tone) {
  const box = $(id);
  const key = JSON.stringify(parts);
  if (box.dataset.key !== key) {
    box.dataset.key = key;
    box.firstElementChild.replaceChildren(...parts.filter(([words]) => words).map(([words, tag, className]) => element(tag, className, words)));
  }
  box.classList.remove("plain", "quiet", "good", "bad", "unsure", "alarm");
  if (tone) box.classList.add(tone);
}

// As large as the box allows: tried by halves, remembered while neither words nor box change. All boxes are filled
// first, since each takes its room from the others.
function fit(id) {
  const box = $(id);
  const inner = box.firstElementChild;
  const size = `${box.dataset.key} ${box.clientWidth} ${box.clientHeight}`;
  if (box.dataset.size === size || !box.clientHeight) return;
  box.dataset.size = size;
  let low = 14, high = Math.max(15, Math.min(box.clientHeight, 900));
  while (high - low > 2) {
    const middle = (low + high) / 2;
    inner.style.fontSize = `${middle}px`;
    if (inner.scrollWidth <= box.clientWidth && inner.offsetHeight <= box.clientHeight && inner.offsetWidth <= box.clientWidth) low = middle;
    else high = middle;
  }
  inner.style.fontSize = `${low}px`;
}

function draw() {
  if (!glance) return;
  text("tag", glance.tag);
  text("title", glance.title);
  text("progress", glance.progress);
  text("next", glance.next);
  $("next").classList.toggle("long", glance.next.text.length > LONG);
  text("detail", glance.detail);
  cautions();
  status();
  document.body.classList.toggle("alarm-on", glance.alarm);
  words();
  pictured(board.take(glance.board));
  ground();
  const { hero, done, aside } = glance;
  fill("done", done ? [[`${done.mark} ${done.text}`, "span", ""]] : [], done?.tone);
  fill("aside", aside ? [[aside.text, "span", ""]] : [], aside?.tone);
  $("hero").classList.toggle("waiting", !hero.armed);
  fill("hero", [[hero.lead && `${hero.lead} `, "span", hero.lead_tone], [hero.text, "span", ""], [hero.unit, "small", ""]], hero.tone);
  for (const id of ["done", "aside", "hero"]) fit(id);
  board.draw();
}

// All of them where there is room, else one after the other.
function cautions() {
  const all = glance.cautions;
  const shown = innerWidth >= WIDE || all.length < 2 ? all : [all[Math.floor(Date.now() / TURN_MS) % all.length]];
  $("cautions").replaceChildren(...shown.map((words) => element("li", "", words)));
}

function status() {
  const lines = glance.status.flatMap(({ text: words, tone }, index) => [index ? "   " : "", element("span", tone, words)]);
  $("status").replaceChildren(...lines);
}

function pictured(has) {
  $("board").hidden = !has;
  document.body.classList.toggle("pictured", has);
}

function ground() {
  const { stones, stretch, span } = glance;
  const key = JSON.stringify([stones, stretch, span, room()]);
  if ($("ground").dataset.key === key) return;
  $("ground").dataset.key = key;
  $("ground").replaceChildren(...(stones ? path(stones) : stretch ? field(stretch) : span !== null ? wait(span) : []));
}

// Where the ground stands there is none while it is empty.
const room = () => $("bench").clientWidth - 24;

function path({ stones, here }) {
  const row = element("div", "stones");
  const wide = (room() + GAP) / stones.length;
  row.append(...stones.map(([, place]) => element("i", place, wide >= 18 ? MARKS[place] ?? "" : "")));
  const names = element("div", "names");
  const taken = [];
  const each = Math.min(WIDEST + GAP, wide);
  const order = stones.map((_, index) => index).sort((a, b) => (b === here) - (a === here) || weight(stones[b]) - weight(stones[a]) || a - b);
  for (const index of order) {
    const [name] = stones[index];
    const width = name.length * 9 + 8;
    const middle = Math.min(Math.max((index + 0.5) * each - GAP / 2, width / 2), room() - width / 2);
    if (!name || taken.some(([left, right]) => middle - width / 2 < right && middle + width / 2 > left)) continue;
    taken.push([middle - width / 2, middle + width / 2]);
    const label = element("span", index === here ? "mine" : "", name);
    label.style.left = `${middle}px`;
    names.append(label);
  }
  return [row, names];
}

const weight = ([, place]) => (["fail", "unsure", "skipped"].includes(place) ? 1 : 0);

function field(at) {
  const box = element("div", "stretch");
  const put = (className, from, to) => {
    const part = element("i", className);
    part.style.left = `${from * 100}%`;
    if (to !== undefined) part.style.width = `${Math.max(0, to - from) * 100}%`;
    box.append(part);
  };
  if (at.below !== null) put("never", 0, at.below);
  if (at.above !== null) put("never", at.above, 1);
  put("band", at.low, at.high);
  put(at.inside ? "inside" : "sure", at.inner_low, at.inner_high);
  if (at.found !== null) put("found", at.found);
  if (at.now !== null) {
    if (!at.inside) put("way", Math.min(at.now, at.inner_high), Math.max(at.now, at.inner_low));
    put("now", at.now);
  }
  if (at.stops !== null) put("stops", at.stops);
  const names = element("div", "names");
  const taken = [];
  for (const [place, words, tone] of at.words) {
    const width = words.length * 9 + 8;
    const middle = Math.min(Math.max(place * room(), width / 2), room() - width / 2);
    if (taken.some(([left, right]) => middle - width / 2 < right && middle + width / 2 > left)) continue;
    taken.push([middle - width / 2, middle + width / 2]);
    const label = element("span", tone, words);
    label.style.left = `${middle}px`;
    names.append(label);
  }
  return [box, names];
}

function wait(share) {
  const box = element("div", "span");
  const bar = element("i");
  bar.style.width = `${share * 100}%`;
  box.append(bar);
  return [box];
}

// --- words

function words() {
  const box = $("words");
  const key = JSON.stringify([glance.words, glance.prompt]);
  if (box.dataset.key === key) return;
  box.dataset.key = key;
  shownPrompt = glance.prompt;
  shownAt = performance.now();
  box.replaceChildren(...glance.words.map((word) => {
    const button = element("button", word === "yes" ? "yes" : "", word);
    button.type = "button";
    button.addEventListener("click", () => say(word, shownPrompt));
    return button;
  }));
}

async function say(word, prompt) {
  const now = performance.now();
  if (now - shownAt < CALM_MS || now - saidAt < SAID_MS || !document.body.classList.contains("live")) return;
  saidAt = now;
  enable(false);
  setTimeout(() => enable(true), SAID_MS);
  const headers = { "Content-Type": "application/json" };
  try {
    const answer = await fetch("/word", { method: "POST", headers, body: JSON.stringify({ word, prompt }) });
    if (!answer.ok) tell("not taken: say it at the bench");
  } catch {
    tell("not taken: the bench does not answer");
  }
}

function enable(on) {
  for (const button of $("words").querySelectorAll("button")) button.disabled = !on;
}

function tell(words) {
  const line = element("p", "", words);
  $("words").append(line);
  setTimeout(() => line.remove(), 4000);
}

// --- photographs

const input = $("photo").querySelector("input");
input.addEventListener("change", async () => {
  const [file] = input.files;
  if (!file) return;
  const label = $("photo").firstChild;
  label.textContent = "sending …";
  let told = "not kept";
  try {
    const answer = await fetch("/photo", { method: "POST", body: file });
    const refused = () => answer.text().then((page) => new DOMParser().parseFromString(page, "text/html").querySelector("p")?.textContent);
    told = answer.ok ? "kept ✓" : `not kept: ${(await refused()) ?? answer.status}`;
  } catch {
    told = "not kept: the bench does not answer";
  }
  input.value = "";
  label.textContent = told;
  setTimeout(() => { label.textContent = "photograph"; }, 5000);
});

// --- beginning

listen({
  hello({ photos, taps }) {
    $("photo").hidden = !photos;
    $("picture").classList.toggle("tapped", Boolean(taps));
  },
  pictures(pictures) { board.pictures = pictures; draw(); },
  glance(newest) { glance = newest; draw(); },
  state(state) {
    document.body.classList.remove("live", "stale", "over");
    document.body.classList.add(state);
    $("live").textContent = { live: "live", stale: "not live", over: "ended" }[state];
    enable(state === "live");
  },
});
addEventListener("resize", draw);
$("picture").addEventListener("click", (event) => {
  const spot = board.spot(event.clientX, event.clientY);
  if (!spot || !$("picture").classList.contains("tapped") || !document.body.classList.contains("live")) return;
  const headers = { "Content-Type": "application/json" };
  fetch("/tap", { method: "POST", headers, body: JSON.stringify(spot) }).catch(() => {});
});
$("turn").addEventListener("click", () => board.turn());
$("zoom").addEventListener("click", () => { $("zoom").textContent = board.zoom() ? "whole" : "near"; });
$("zoom").textContent = board.near ? "whole" : "near";
navigator.wakeLock?.request("screen").catch(() => {});
