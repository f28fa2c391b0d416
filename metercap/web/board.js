// The board: its picture turned the way it lies, near the next point, which is lit. What is known of each place is told
// by a shape before a colour: a disc is ticked, a square with a cross failed, a diamond unsure, a dashed ring skipped,
// a bar absent, a small ring still open.

const SVG = "http://www.w3.org/2000/svg";
const COLOURS = { ticked: "#7cbcff", accepted: "#7cbcff", failed: "#ff9152", unsure: "#ffd866", skipped: "#ffd866", absent: "#d5d9dc", open: "#fff" };
const TIPS_APART = 96; // pixels between two tips
const NEIGHBOURS = 4; // as many more places are in sight, so that one can count from them
const NEAREST = 0.09, WIDEST = 0.5, CLOSEST = 0.05; // half of what is shown, in parts of the picture's longer side

function make(tag, attributes, ...inside) {
  const made = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  made.append(...inside);
  return made;
}

function remembered(key, other) {
  try { return localStorage.getItem(key) ?? other; } catch { return other; }
}

function remember(key, value) {
  try { localStorage.setItem(key, value); } catch { /* a browser that keeps nothing */ }
}

export class Board {
  pictures = [];
  near = remembered("near", "yes") === "yes";
  #board = null;
  #drawn = "";

  // Take what the glance says of the board; tell whether there is anything to show.
  take(board) {
    this.#board = board;
    return Boolean(board && (this.pictures.length || board.marks.length));
  }

  turn() {
    const key = this.#key();
    remember(key, (Number(remembered(key, "0")) + 90) % 360);
    this.draw();
  }

  // Where a point of the window lies: on which picture, in fractions of its file, whatever way it is turned and zoomed.
  spot(x, y) {
    const svg = document.getElementById("picture");
    const number = this.#index();
    const { id, width, height } = this.pictures[number] ?? {};
    const seen = svg.getScreenCTM();
    if (!id || !seen) return null;
    const at = new DOMPoint(x, y).matrixTransform(seen.inverse());
    const [px, py] = back([at.x, at.y], width, height, Number(remembered(this.#key(), "0")));
    return { picture: number, x: px / width, y: py / height, width, height };
  }

  zoom() {
    this.near = !this.near;
    remember("near", this.near ? "yes" : "no");
    this.draw();
    return this.near;
  }

  #key() { return `turn ${this.pictures[this.#index()]?.id ?? ""}`; }

  #index() { return this.#board?.shows ?? this.#board?.marks[0]?.picture ?? 0; }

  draw() {
    const svg = document.getElementById("picture");
    if (!this.#board || !svg.clientWidth) return;
    const index = this.#index();
    const picture = this.pictures[index];
    const turned = Number(remembered(this.#key(), "0"));
    const key = JSON.stringify([this.#board, picture, turned, this.near, svg.clientWidth, svg.clientHeight]);
    if (key === this.#drawn) return;
    this.#drawn = key;
    this.#words(picture);
    if (!picture?.id) {
      svg.replaceChildren();
      document.getElementById("map").replaceChildren();
      return;
    }
    const { width, height } = picture;
    const place = ([x, y]) => turn([x * width, y * height], width, height, turned);
    const marks = this.#board.marks.filter((mark) => mark.picture === index)
      .map((mark) => ({ ...mark, at: mark.at.map(place) }));
    const next = this.#board.shows === null ? undefined : marks.find((mark) => mark.state === "next");
    const size = turned % 180 ? [height, width] : [width, height];
    const box = next && this.near ? around(next, marks, size, svg) : whole(size, svg);
    // The length of a pixel; on a large screen, which is looked at from further off, of more than one.
    const one = (box[2] / svg.clientWidth) * Math.max(1, Math.min(svg.clientWidth, svg.clientHeight) / 560);
    svg.setAttribute("viewBox", box.join(" "));
    svg.replaceChildren(image(picture, turned), shade(box, next, one), ...marks.filter((mark) => mark !== next).map((mark) => mark_(mark, one, box)),
      ...(next ? [lit(next, one, box)] : []));
    this.#map(picture, turned, size, next, box);
  }

  #words(picture) {
    const where = document.getElementById("where");
    const side = document.createElement("b");
    side.textContent = picture?.side ?? "";
    const title = document.createElement("span");
    title.textContent = picture?.title ?? "";
    where.replaceChildren(...(picture ? [side, title] : []));
    const item = this.#board.item;
    const why = picture?.why || (this.#board.shows === null && item ? `${item}: its place is on no picture` : "");
    document.getElementById("unlit").textContent = why;
  }

  #map(picture, turned, size, next, box) {
    const map = document.getElementById("map");
    const small = Boolean(next) && this.near && box[2] * box[3] < 0.6 * size[0] * size[1];
    map.style.display = small ? "" : "none";
    if (!small) return;
    const line = Math.max(...size) / 60;
    map.setAttribute("viewBox", [0, 0, ...size].join(" "));
    map.replaceChildren(image(picture, turned),
      make("rect", { x: box[0], y: box[1], width: box[2], height: box[3], fill: "none", stroke: "#fff", "stroke-width": line / 2 }),
      ...next.at.map(([x, y]) => make("circle", { class: "lit", cx: x, cy: y, r: line * 2, fill: "#ffe14d", stroke: "#000", "stroke-width": line })));
  }
}

function turn([x, y], width, height, turned) {
  return { 0: [x, y], 90: [height - y, x], 180: [width - x, height - y], 270: [y, width - x] }[turned];
}

function back([x, y], width, height, turned) {
  return { 0: [x, y], 90: [y, height - x], 180: [width - x, height - y], 270: [width - y, x] }[turned];
}

function image({ id, width, height }, turned) {
  const moved = { 0: "", 90: `translate(${height} 0) rotate(90)`, 180: `translate(${width} ${height}) rotate(180)`, 270: `translate(0 ${width}) rotate(270)` };
  return make("image", { href: `/picture/${id}`, width, height, transform: moved[turned] });
}

function centre(mark) {
  const sum = mark.at.reduce(([a, b], [x, y]) => [a + x, b + y], [0, 0]);
  return sum.map((each) => each / mark.at.length);
}

function around(next, marks, size, svg) {
  const [x, y] = centre(next);
  const far = (mark) => Math.max(...mark.at.map(([a, b]) => Math.hypot(a - x, b - y)));
  const away = marks.filter((mark) => mark !== next).map(far).sort((a, b) => a - b);
  const long = Math.max(...size);
  const wanted = 1.3 * Math.max(far(next) * 1.5, away[Math.min(NEIGHBOURS, away.length) - 1] ?? 0);
  let half = Math.min(Math.max(wanted, NEAREST * long), WIDEST * long);
  const apart = apartness(next); // two tips side by side must look like two
  if (apart) half = Math.min(half, Math.max(apart * Math.min(svg.clientWidth, svg.clientHeight) / (2 * TIPS_APART), CLOSEST * long));
  const shape = svg.clientWidth / svg.clientHeight;
  const [w, h] = shape > 1 ? [2 * half * shape, 2 * half] : [2 * half, (2 * half) / shape];
  return [within(x, w, size[0]), within(y, h, size[1]), w, h];
}

// Where a window of a length begins, so that it shows no more than it must of what is no picture.
function within(middle, length, all) {
  return length >= all ? (all - length) / 2 : Math.min(Math.max(middle - length / 2, 0), all - length);
}

function whole(size, svg) {
  const shape = svg.clientWidth / svg.clientHeight;
  const [w, h] = size[0] / size[1] > shape ? [size[0], size[0] / shape] : [size[1] * shape, size[1]];
  return [(size[0] - w) / 2, (size[1] - h) / 2, w, h];
}

// All but the next point lies in the shade.
function shade([x, y, w, h], next, one) {
  const r = Math.max(64 * one, next ? apartness(next) / 2 + 40 * one : 0);
  const hole = ([a, b]) => `M${a - r} ${b}a${r} ${r} 0 1 0 ${2 * r} 0a${r} ${r} 0 1 0 ${-2 * r} 0z`;
  const d = `M${x} ${y}h${w}v${h}h${-w}z${next ? hole(centre(next)) : ""}`;
  return make("path", { d, fill: "#000", "fill-opacity": next ? 0.5 : 0.12, "fill-rule": "evenodd" });
}

function mark_(mark, one, box) {
  const [x, y] = centre(mark);
  const r = 13 * one, colour = COLOURS[mark.state] ?? "#fff";
  const line = { stroke: "#000", "stroke-width": 2 * one };
  const on = { fill: "none", stroke: colour, "stroke-width": 4 * one, "stroke-linecap": "round", "stroke-linejoin": "round" };
  const inked = { ...on, stroke: "#000" };
  const group = make("g", { transform: `translate(${x} ${y})` });
  const square = (fill, more = {}) => make("rect", { x: -r, y: -r, width: 2 * r, height: 2 * r, fill, ...line, ...more });
  const shapes = {
    ticked: () => [make("circle", { r, fill: colour, ...line }), make("path", { d: `M${-r / 2} 0L${-r / 8} ${r / 2.4}L${r / 2} ${-r / 2.4}`, ...inked })],
    accepted: () => [make("circle", { r, fill: "#000", stroke: colour, "stroke-width": 3 * one }), make("path", { d: `M${-r / 2} 0L${-r / 8} ${r / 2.4}L${r / 2} ${-r / 2.4}`, ...on })],
    failed: () => [square("#000", { stroke: colour, "stroke-width": 4 * one }), make("path", { d: `M${-r / 2} ${-r / 2}L${r / 2} ${r / 2}M${r / 2} ${-r / 2}L${-r / 2} ${r / 2}`, ...on })],
    unsure: () => [square("#000", { stroke: colour, "stroke-width": 4 * one, transform: "rotate(45) scale(.85)" }), label("?", 0, 7 * one, 20 * one, colour)],
    skipped: () => [make("circle", { r, fill: "#000a", stroke: colour, "stroke-width": 4 * one, "stroke-dasharray": `${5 * one} ${4 * one}` })],
    absent: () => [make("path", { d: `M${-r} 0H${r}`, ...inked, "stroke-width": 9 * one }), make("path", { d: `M${-r} 0H${r}`, ...on })],
    open: () => [make("circle", { r: r * 0.6, fill: "#000a", stroke: colour, "stroke-width": 3 * one })],
  };
  group.append(...(shapes[mark.state] ?? shapes.open)());
  const half = mark.item.length * 4.3 * one; // what stands at the edge is named within
  group.append(label(mark.item, inward(x - half, x + half, box), -r - 4 * one, 14 * one));
  return group;
}

// How far what spans a to b has to move to be seen whole; nothing where it is out of sight.
function inward(a, b, [x, , w]) {
  if (b < x || a > x + w) return 0;
  return a < x ? x - a : b > x + w ? x + w - b : 0;
}

function label(words, x, y, size, fill = "#fff") {
  const made = make("text", { x, y, fill, "stroke-width": size / 4 });
  made.style.fontSize = `${size}px`;
  if (fill !== "#fff") made.style.fill = fill;
  made.textContent = words;
  return made;
}

// One ring where one tip goes; for two tips two rings that do not overlap, each named on its far side.
function lit(next, one, box) {
  const group = make("g", { class: "lit" });
  const [x, y] = centre(next);
  const apart = apartness(next);
  const both = next.at.length > 1;
  const r = both ? Math.min(34 * one, Math.max(7 * one, apart / 2 - 6 * one)) : 34 * one;
  const thick = Math.min(1, Math.max(0.45, r / (34 * one)));
  const [ux, uy] = both && apart ? [(next.at[0][0] - x) / (apart / 2), (next.at[0][1] - y) / (apart / 2)] : [0, -1];
  const steep = Math.abs(uy) > Math.abs(ux);
  next.at.forEach(([a, b], index) => {
    const ring = (width, colour) => make("circle", { cx: a, cy: b, r, fill: "none", stroke: colour, "stroke-width": width * thick * one });
    // The ticks between two tips would cross each other.
    const ways = [[1, 0], [-1, 0], [0, 1], [0, -1]].filter(([c, d]) => !both || (steep ? !d : !c));
    const from = r + 8 * one, to = r + 26 * one;
    const ticks = ways.map(([c, d]) => `M${a + c * from} ${b + d * from}L${a + c * to} ${b + d * to}`).join("");
    group.append(ring(16, "#000"), make("path", { d: ticks, stroke: "#000", "stroke-width": 14 * thick * one }),
      ring(9, "#ffe14d"), make("path", { d: ticks, stroke: "#ffe14d", "stroke-width": 7 * thick * one }),
      make("circle", { cx: a, cy: b, r: 3 * one, fill: "#ffe14d", stroke: "#000", "stroke-width": one }));
    if (both) {
      const way = index ? -1 : 1;
      group.append(label(index ? "black" : "red", a + way * ux * (r + (index ? 44 : 32) * one), b + way * uy * (r + 22 * one) + 8 * one, 22 * one));
    }
  });
  const size = 36 * one, wide = next.item.length * size * 0.36;
  let [tx, ty] = both && steep ? [x + r + 44 * one + wide, y + size / 3] : [x, Math.min(...next.at.map(([, b]) => b)) - r - 36 * one];
  if (tx + wide > box[0] + box[2]) tx = both && steep ? x - r - 44 * one - wide : box[0] + box[2] - wide;
  tx = Math.max(tx, box[0] + wide);
  if (ty - size < box[1]) ty = Math.max(...next.at.map(([, b]) => b)) + r + 70 * one;
  group.append(label(next.item, tx, ty, size));
  return group;
}

function apartness(mark) {
  return mark.at.length > 1 ? Math.hypot(mark.at[0][0] - mark.at[1][0], mark.at[0][1] - mark.at[1][1]) : 0;
}
