// The marking page. All that is known comes from the program, whole, with every answer; texts are set as texts only.
import {Board} from "/board.js";
import {$, button, element, redrawn} from "/dom.js";
import {runs, wayOf} from "/ways.js";

const LOOK_MS = 4000;
let known = null;      // as the program said it last
let state = null;      // the same with what is on its way
let pending = [];      // places that are not answered yet, {n, key, tips}
let now = null;        // key of the item that the next tap places
let side = 0;          // which picture is in sight
let held = [];         // the red tip's point while the black one's is awaited
let paired = null;     // whether each tip is asked for: null for what the plan says
let walking = null;    // {step, names}: an order being tapped
let preview = [];      // runs of places drawn as a way
let replacing = null;  // the picture that a photo is chosen for
let adding = false;
let busy = Promise.resolve();
let waiting = 0;

const board = new Board($("board"), $("photo"), $("marks"), {tapped, moved});

// --- talking with the program

async function ask(path, options, settled = () => {}) {
  let answer;
  try {
    answer = await fetch(path, options);
  } catch {
    settled();
    say(["The program does not answer.", "What it answered is kept: start metercap plan mark with this plan again."], true);
    if (known) take(known);
    return null;
  }
  let data;
  try { data = await answer.json(); } catch { data = {error: [answer.status === 413 ? "That file is too large." : answer.statusText]}; }
  settled();
  if (answer.ok) return data;
  say(data.error ?? [answer.statusText], true);
  if (data.changed) offer("Take up the new file", () => send(`/take-up?rev=${state.rev}`));
  if (data.state) take(data.state);
  else if (path !== "/state") await look();
  return null;
}

function send(path, body, after, settled) {  // one after the other, so that each carries the number of the state that it changes
  waiting += 1;
  const done = busy.then(async () => {
    const where = typeof path === "function" ? path() : path;
    const data = typeof body === "function" ? body() : body;
    const answer = await ask(where, {method: "POST", body: data}, settled).finally(() => { waiting -= 1; });
    if (answer) { take(answer); after?.(answer); }
  });
  busy = done.catch(() => {});  // what went wrong with one does not hold up the next
  return done;
}

const move = (what, after) => {
  quiet();
  return send("/move", () => JSON.stringify({rev: state.rev, ...what}), after);
};

function place(n, key, tips) {  // seen at once; a late answer to an earlier one does not take it away
  const mine = {n, key, tips};
  pending.push(mine);
  lay(mine);
  quiet();
  const what = {do: "place", picture: n, key, tips};
  send("/move", () => JSON.stringify({rev: state.rev, ...what}), undefined, () => { pending = pending.filter((each) => each !== mine); });
}

function lay({n, key, tips}) {
  if (!state.pictures[n]) return;
  for (const pic of state.pictures) delete pic.at[key];
  state.pictures[n].at[key] = tips;
}

async function look() {
  const answer = await ask("/state");
  if (answer) take(answer);
}

function take(answer) {
  if (waiting && known && answer.rev < known.rev) return;
  known = answer;
  state = structuredClone(known);
  pending.forEach(lay);
  if (side >= state.pictures.length) side = Math.max(0, state.pictures.length - 1);
  if (now !== null && !cardOf(now)) now = null;
  if (now === null && !walking) now = open()[0]?.key ?? null;
  if (answer.lost?.length) say([`No longer on the pictures: ${answer.lost.join(", ")}`]);
  show();
}

// --- what is known

const cardOf = (key) => state.cards.find((card) => card.key === key);
const placeOf = (key) => {
  const n = state.pictures.findIndex((pic) => pic.at[key]);
  return n < 0 ? null : {n, tips: state.pictures[n].at[key]};
};
const open = () => state.cards.filter((card) => !placeOf(card.key));
const picture = () => state.pictures[side];

function nextOpen(after) {
  const at = state.cards.findIndex((card) => card.key === after);
  const turn = [...state.cards.slice(at + 1), ...state.cards.slice(0, at)];
  return turn.find((card) => !placeOf(card.key))?.key ?? null;
}

// --- hands

function tapped(spot, on) {
  if (walking) { if (on) walk(on.key); return; }
  const card = now === null ? null : cardOf(now);
  if (!card || (on && placeOf(now) && on.key !== now)) { if (on) choose(on.key); return; }
  const two = paired ?? card.pair;
  if (two && held.length === 0) {
    held = [spot];
    show();
    return;
  }
  const tips = two ? [...held, spot] : [spot], key = now, n = side;
  held = [];
  place(n, key, tips);
  now = nextOpen(key);
  paired = null;
  show();
}

function moved(key, tips) {
  place(side, key, tips);
}

function choose(key) {
  now = key;
  held = [];
  paired = null;
  const place = placeOf(key);
  if (place) { side = place.n; paired = place.tips.length > 1; }
  quiet();
  show();
  if (place) board.reveal(place.tips[0]);
}

function step(by) {
  const at = state.cards.findIndex((card) => card.key === now), n = state.cards.length;
  if (!n) return;
  choose(state.cards[at < 0 ? (by > 0 ? 0 : n - 1) : (at + by + n) % n].key);
}

function skip() {
  const next = nextOpen(now);
  if (next) choose(next); else step(1);
}

function walk(key) {
  const card = cardOf(key);
  if (card.step !== walking.step || walking.names.includes(card.item)) return;
  walking.names.push(card.item);
  const total = state.steps.find((each) => each.step === walking.step).now.length;
  if (walking.names.length === total) {
    const {step: id, names} = walking;
    walking = null;
    move({do: "order", step: id, names}, () => say([`${id}: probed in the order ${runs(names)}`]));
  }
  show();
}

// --- photos

async function photo(file) {
  if (!file) return;
  const chosen = replacing, asked = !$("begin").hidden;
  const wanted = asked ? $("side").value : state.pictures.some((pic) => pic.side === "front") ? "back" : "front";
  say([`Taking ${file.name} …`]);
  const extra = chosen === null ? "" : `&instead=${chosen}`;
  await send(() => `/photo?rev=${state.rev}&side=${wanted}${extra}`, file, () => {
    if (chosen === null) side = state.pictures.length - 1;
    adding = false;
    replacing = null;
    quiet();
    show();
    $("board").focus();
  });
}

for (const id of ["camera", "file"]) {
  $(id).addEventListener("change", () => { photo($(id).files[0]); $(id).value = ""; });
}
addEventListener("dragover", (event) => { event.preventDefault(); document.body.classList.add("over"); });
addEventListener("dragleave", (event) => { if (!event.relatedTarget) document.body.classList.remove("over"); });
addEventListener("drop", (event) => {
  event.preventDefault();
  document.body.classList.remove("over");
  photo(event.dataTransfer.files[0]);
});

// --- what is shown

function say(lines, bad = false) {
  $("say").className = bad ? "bad" : "";
  $("say").replaceChildren(...lines.map((line) => element("p", line)));
  $("say").scrollIntoView({block: "nearest"});
}

const quiet = () => $("say").replaceChildren();

function offer(text, does) { $("say").append(button(text, () => { quiet(); does(); })); }

function show() {
  $("trouble").textContent = picture()?.trouble ?? "";
  const pic = picture(), begin = adding || replacing !== null || !state.pictures.length || !pic?.shown;
  document.title = `${open().length} open – ${state.title}`;
  $("plan").textContent = `${state.title} (${state.plan})`;
  $("begin").hidden = !begin;
  $("board").hidden = begin;
  $("leave").hidden = !state.pictures.some((each) => each.shown) ;
  sides();
  asking(begin);
  tools(begin, pic);
  ways();
  list();
  if (begin) return;
  board.cutting = cutting;
  board.path = walking ? [way(walking.step, walking.names)] : preview;
  board.path = board.path.filter((run) => run.length > 1);
  board.marks = Object.entries(pic.at).filter(([key]) => cardOf(key)).map(([key, tips]) => ({
    key, tips, now: key === now, label: labelOf(key),
  }));
  if (held.length) board.marks.push({key: now, tips: held, now: true, label: cardOf(now).item});
  board.show(`/picture/${pic.shown}`, pic.width, pic.height);
  board.loose = now === null;
  board.draw();
}

function labelOf(key) {
  const card = cardOf(key);
  if (walking && walking.step === card.step) {
    const at = walking.names.indexOf(card.item);
    return at < 0 ? card.item : `${at + 1}. ${card.item}`;
  }
  return card.item;
}

function sides() {
  const names = state.pictures.map((pic, n) => {
    const alike = state.pictures.slice(0, n).filter((each) => each.side === pic.side).length;
    const name = `${pic.side === "front" ? "Front" : "Back"}${alike ? ` ${alike + 1}` : ""}`;
    return {name, more: pic.shown ? pic.title : "not there", seen: n === side && !adding};
  });
  redrawn("sides", names, () => [...names.map(({name, more, seen}, n) => {
    const made = button(name, () => {
      side = n; adding = false; replacing = picture().shown ? null : n; held = []; show();
    });
    if (more) made.append(element("span", more));
    made.title = `${name} ${more}`;
    made.setAttribute("aria-selected", seen);
    return made;
  }), button("+ picture", () => {
    adding = true;
    $("side").value = state.pictures.some((pic) => pic.side === "front") ? "back" : "front";
    show();
  })]);
}

function asking(begin) {
  const card = now === null ? null : cardOf(now), total = state.cards.length, left = open().length;
  const next = walking ? "Tap in order" : card?.item ?? (total ? "All placed" : "Nothing to place");
  $("next").textContent = begin && !state.pictures.length ? "First a photo" : next;
  const letters = $("next").textContent.length;
  $("next").className = letters > 22 ? "longest" : letters > 7 ? "long" : "";
  $("count").textContent = `${total - left} of ${total}`;
  const place = card && placeOf(card.key);
  let hint = "";
  if (begin) hint = replacing === null ? "" : "Choose another photo for this picture";
  else if (cutting) hint = "Drag over what is to stay";
  else if (walking) hint = `${walking.step}: ${walking.names.length} so far`;
  else if (card) {
    const two = paired ?? card.pair;
    hint = two ? (held.length ? `Now the black tip${card.black ? `: ${card.black}` : ""}`
      : `Tap for the red tip${card.red ? `: ${card.red}` : ""}`) : place ? "Placed: tap or drag to move it" : "Tap where it is";
    hint += card.where ? ` (${card.where})` : "";
    if (state.cards.some((each) => each.item === card.item && each.step !== card.step)) hint += ` · ${card.step}`;
  } else if (total) hint = "Drag a mark to move it; write them into the plan";
  $("hint").textContent = $("hint").title = hint;
}

let cutting = false;

function tools(begin, pic) {
  const card = now === null ? null : cardOf(now);
  $("undo").disabled = !state.undo && !held.length && !walking;
  $("off").disabled = !card || !placeOf(card.key);
  for (const id of ["back", "skip"]) $(id).disabled = !state.cards.length || Boolean(walking) || begin;
  $("off").hidden = begin;
  $("pairing").hidden = !card || begin || Boolean(walking);
  $("pair").checked = Boolean(card && (paired ?? card.pair));
  $("drawing").hidden = begin;
  $("drop").hidden = !pic || pic.planned;
  if (pic && document.activeElement !== $("called")) $("called").value = pic.title;
  if (pic) $("shows").value = pic.side;
  $("cut").textContent = cutting ? "Cut it so" : "Cut";
  $("save").disabled = !state.unwritten;
  $("save").className = state.unwritten ? "main" : "";
  $("done").className = state.saved ? "main" : "";
}

function way(id, names) {
  return names.map((name) => state.cards.find((card) => card.step === id && card.item === name))
    .map((card) => picture()?.at[card?.key]?.[0]).filter(Boolean);
}

function ways() {
  const whole = ({step: id, now: names}) => names.length > 2
    && state.cards.filter((card) => card.step === id && names.includes(card.item)).every((card) => placeOf(card.key));
  const steps = state.steps.filter(whole);
  redrawn("ways", steps, () => steps.map((each) => wayOf(each, {
    shows: (lists) => { preview = lists.map((names) => way(each.step, names)); show(); },
    does: (what) => { preview = []; move({step: each.step, ...what}); },
    taps: () => { walking = {step: each.step, names: []}; preview = []; now = null; show(); },
  })));
}

function list() {
  const cards = state.cards.map((card) => ({...card, done: Boolean(placeOf(card.key)), asked: card.key === now}));
  const steps = [...new Set(cards.map((card) => card.step))];
  redrawn("list", cards, () => steps.flatMap((id) => {
    const rows = element("ul");
    for (const card of cards.filter((each) => each.step === id)) {
      const row = element("li");
      const made = button(card.item, () => choose(card.key), `${card.done ? "placed" : ""}${card.asked ? " now" : ""}`);
      made.title = card.done ? "placed" : "no place yet";
      row.append(made);
      rows.append(row);
    }
    return [element("h3", id), rows];
  }));
}

// --- buttons and keys

function undo() {
  if (walking) { if (!walking.names.pop()) walking = null; show(); return; }
  if (held.length) { held = []; show(); return; }
  const before = new Set(open().map((card) => card.key));
  move({do: "undo"}, () => {
    const freed = open().find((card) => !before.has(card.key));
    if (freed) choose(freed.key);
  });
}

function cut() {
  if (!cutting) { cutting = true; board.frame = null; board.fit(); show(); return; }
  const box = board.frame;
  cutting = false;
  board.frame = null;
  if (box) move({do: "draw", picture: side, box});
  show();
}

$("undo").addEventListener("click", undo);
$("back").addEventListener("click", () => step(-1));
$("skip").addEventListener("click", skip);
$("off").addEventListener("click", () => move({do: "off", key: now}));
$("pair").addEventListener("change", () => { paired = $("pair").checked; held = []; show(); });
$("turn").addEventListener("click", () => move({do: "draw", picture: side, quarters: 1}));
$("cut").addEventListener("click", cut);
$("instead").addEventListener("click", () => { replacing = side; $("side").value = picture().side; show(); });
for (const id of ["shows", "called"]) {
  $(id).addEventListener("change", () => move({do: "name", picture: side, side: $("shows").value, title: $("called").value}));
}
$("drop").addEventListener("click", () => move({do: "drop", picture: side}));
$("leave").addEventListener("click", () => {
  adding = false;
  replacing = null;
  if (!picture()?.shown) side = state.pictures.findIndex((pic) => pic.shown);
  show();
});
$("in").addEventListener("click", () => board.closer(1.6));
$("out").addEventListener("click", () => board.closer(1 / 1.6));
$("fit").addEventListener("click", () => board.fit());
$("save").addEventListener("click", () => {
  quiet();
  $("findings").replaceChildren();
  send(() => `/save?rev=${state.rev}`, undefined, (answer) => {
    const found = answer.findings ?? [];
    say([`Written into ${answer.plan}.`, found.length ? "plan check says:" : "plan check finds nothing wrong."]);
    $("findings").replaceChildren(...found.map((line) => element("li", line)));
  });
});
$("done").addEventListener("click", async () => {
  if (state.dirty && !$("done").dataset.sure) {
    $("done").dataset.sure = "yes";
    say(["These marks are not in the plan yet.", "Done again leaves them as a draft beside it, for the next time."], true);
    return;
  }
  if (await ask("/done", {method: "POST"})) {
    gone = true;
    const how = state.dirty ? "The draft is kept." : state.saved ? "Written." : "Nothing was changed.";
    document.body.replaceChildren(element("p", `${how} This page can be closed.`, "end"));
  }
});
addEventListener("pointerdown", () => document.body.classList.remove("keys"), true);
addEventListener("keydown", (event) => {
  document.body.classList.add("keys");  // only then a frame shows where the keys go
  if (event.target.matches("select, input")) return;
  const does = {PageDown: skip, PageUp: () => step(-1), Delete: () => $("off").click(), Escape: leave};
  if ((event.ctrlKey || event.metaKey) && event.key === "z") undo();
  else if (does[event.key]) does[event.key]();
  else return;
  event.preventDefault();
});

function leave() {
  cutting = false;
  board.frame = null;
  walking = null;
  held = [];
  preview = [];
  quiet();
  take(state);
}

// --- another page, or a hand in the file

let gone = false;
async function again() {
  if (gone || waiting || document.hidden || held.length || board.drag) return;
  let answer;
  try { answer = await (await fetch("/state")).json(); } catch { return; }
  if (waiting || !answer.rev) return;
  if (answer.rev !== state.rev) take(answer);
  else if (answer.changed && !state.changed) {
    state.changed = true;
    say(["The plan file was changed by another hand."], true);
    offer("Take up the new file", () => send(() => `/take-up?rev=${state.rev}`));
  }
}
setInterval(again, LOOK_MS);
document.addEventListener("visibilitychange", again);
look();
