// The picture: shown, moved and brought closer by wheel, pinch, buttons and keys; taps and drags come out in fractions.
import {shape} from "/dom.js";

const FARTHEST = 1, CLOSEST = 12;
const LARGEST = 8, SMALLEST = 3.5;  // radius of a mark: no larger than lets neighbours stand apart
const LETTER = 7.8, LINE = 15;      // of a label, about

export class Board {
  constructor(root, photo, overlay, heard) {
    Object.assign(this, {root, photo, overlay, heard});
    this.width = this.height = 1;
    this.scale = 1;
    this.x = this.y = 0;
    this.marks = [];
    this.loose = false;  // whether a finger may move any mark, not only the chosen one
    this.least = 0;
    this.seen = [0, 0];
    this.path = [];
    this.frame = null;
    this.cutting = false;
    this.cross = null;
    this.points = new Map();
    this.drag = null;
    this.listen();
    new ResizeObserver(() => this.resized()).observe(root);
  }

  show(url, width, height) {
    if (this.photo.getAttribute("src") === url) return;
    this.photo.src = url;
    Object.assign(this, {width, height, cross: null, frame: null});
    this.photo.width = width;
    this.photo.height = height;
    this.fit();
  }

  // --- where things are

  fit() {
    const {clientWidth: w, clientHeight: h} = this.root;
    this.least = Math.min(w / this.width, h / this.height);
    this.scale = this.least;
    this.x = (w - this.width * this.scale) / 2;
    this.y = (h - this.height * this.scale) / 2;
    this.draw();
  }

  resized() {  // who looked closely looks on at the same spot
    const {clientWidth: w, clientHeight: h} = this.root, [ow, oh] = this.seen;
    if (!w || !h) return;
    this.seen = [w, h];
    if (this.scale <= this.least * 1.001 || !ow) { this.fit(); return; }
    this.least = Math.min(w / this.width, h / this.height);
    this.x += (w - ow) / 2;
    this.y += (h - oh) / 2;
    this.closer(1);
  }

  closer(by, x = this.root.clientWidth / 2, y = this.root.clientHeight / 2) {
    const to = Math.min(Math.max(this.scale * by, this.least * FARTHEST), this.least * CLOSEST);
    const real = to / this.scale;
    this.x = x - (x - this.x) * real;
    this.y = y - (y - this.y) * real;
    this.scale = to;
    this.settle();
  }

  settle() {  // some of the picture always stays in sight
    const {clientWidth: w, clientHeight: h} = this.root, edge = 60;
    this.x = Math.min(Math.max(this.x, edge - this.width * this.scale), w - edge);
    this.y = Math.min(Math.max(this.y, edge - this.height * this.scale), h - edge);
    this.draw();
  }

  reveal([fx, fy]) {  // a chosen item that is out of sight comes to the middle
    const [x, y] = this.onScreen([fx, fy]);
    const {clientWidth: w, clientHeight: h} = this.root;
    if (x > 20 && y > 20 && x < w - 20 && y < h - 20) return;
    this.x += w / 2 - x;
    this.y += h / 2 - y;
    this.settle();
  }

  onScreen([fx, fy]) { return [this.x + fx * this.width * this.scale, this.y + fy * this.height * this.scale]; }

  inPicture(x, y) { return [(x - this.x) / (this.width * this.scale), (y - this.y) / (this.height * this.scale)]; }

  // --- what is drawn

  draw() {
    this.photo.style.transform = `translate(${this.x}px, ${this.y}px) scale(${this.scale})`;
    const out = [];
    if (this.path.length) {
      const d = this.path.map((run) => "M" + run.map((spot) => this.onScreen(spot).join(" ")).join("L")).join("");
      out.push(shape("path", {d, class: "wayback"}), shape("path", {d, class: "way"}));
    }
    const placed = this.marks.map((mark) => ({mark, spots: mark.tips.map((tip) => this.onScreen(tip))}));
    this.radius = radius(placed);
    const labels = this.labelled(placed);
    placed.forEach((each, n) => out.push(this.drawn(each, labels[n])));
    if (this.cross) {
      const [x, y] = this.onScreen(this.cross);
      const d = `M${x - 18} ${y}h13m10 0h13M${x} ${y - 18}v13m0 10v13`;
      out.push(shape("path", {d, class: "crossback"}), shape("path", {d, class: "cross"}));
    }
    if (this.frame) {
      const [l, t] = this.onScreen(this.frame.slice(0, 2)), [r, b] = this.onScreen(this.frame.slice(2));
      const {clientWidth: w, clientHeight: h} = this.root;
      out.push(shape("path", {d: `M0 0H${w}V${h}H0ZM${l} ${t}V${b}H${r}V${t}Z`, class: "shade"}));
      out.push(shape("rect", {x: l, y: t, width: r - l, height: b - t, class: "frame"}));
    }
    this.overlay.replaceChildren(...out);
  }

  drawn({mark: {key, label, now}, spots}, at) {
    const group = shape("g", {class: now ? "now" : "", "data-key": key}), r = this.radius;
    if (spots.length > 1) {
      const [[x1, y1], [x2, y2]] = spots;
      group.append(shape("line", {x1, y1, x2, y2, class: "between"}));
    }
    spots.forEach(([x, y], n) => {  // of two tips the black one's is square
      const square = n > 0, tip = spots.length > 1 ? (square ? " black" : " red") : "";
      for (const kind of ["ring", `dot${tip}`]) {
        group.append(square ? shape("rect", {x: x - r, y: y - r, width: 2 * r, height: 2 * r, class: kind})
          : shape("circle", {cx: x, cy: y, r, class: kind}));
      }
    });
    if (at) group.append(shape("text", {x: at[0], y: at[1] + LINE - 3.5}, label));
    return group;
  }

  labelled(placed) {  // where each label finds room; one that finds none is not drawn, but for the chosen item's
    const {clientWidth: w, clientHeight: h} = this.root, r = this.radius + 3;
    const taken = placed.flatMap(({spots}) => spots.map(([x, y]) => [x - r, y - r, x + r, y + r]));
    const free = ([l, t, e, b]) => l >= 0 && t >= 0 && e <= w && b <= h
      && taken.every(([l2, t2, e2, b2]) => l >= e2 || e <= l2 || t >= b2 || b <= t2);
    const out = placed.map(() => null);
    const turns = placed.map((_, n) => n).sort((a, b) => placed[b].mark.now - placed[a].mark.now);
    for (const n of turns) {
      const {mark, spots: [[x, y]]} = placed[n], wide = mark.label.length * LETTER + 2;
      if (x < -r || y < -r || x > w + r || y > h + r) continue;
      const gap = 2;
      const ways = [[x + r + gap, y - LINE / 2], [x - wide / 2, y - r - LINE], [x - wide / 2, y + r], [x - r - wide - gap, y - LINE / 2]];
      const boxes = ways.map(([l, t]) => [l, t, l + wide, t + LINE]);
      const found = boxes.find(free) ?? (mark.now ? boxes[x > w / 2 ? 3 : 0] : null);
      if (!found) continue;
      taken.push([found[0] - 2 * gap, found[1], found[2] + 2 * gap, found[3]]);
      out[n] = found;
    }
    return out;
  }

  // --- hands

  near(x, y, reach) {
    let best = null, least = reach;
    for (const mark of this.marks) {
      mark.tips.forEach((tip, n) => {
        const [mx, my] = this.onScreen(tip), way = Math.hypot(mx - x, my - y);
        if (way < least) [best, least] = [{key: mark.key, tip: n}, way];
      });
    }
    return best;
  }

  held(x, y, finger) {
    const found = this.near(x, y, finger ? 24 : this.radius + 4);
    const mark = found && this.marks.find(({key}) => key === found.key);
    return {held: found, pulls: Boolean(mark && (!finger || this.loose || mark.now))};
  }

  at(event) {
    const box = this.root.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  listen() {
    const {root} = this;
    root.addEventListener("pointerdown", (event) => {
      if (event.target.closest("button") || event.button > 0) return;
      root.setPointerCapture(event.pointerId);
      const [x, y] = this.at(event), finger = event.pointerType === "touch";
      this.points.set(event.pointerId, [x, y]);
      if (this.points.size > 1) this.drag = null;
      else this.drag = {x, y, ...this.held(x, y, finger), moved: false, slip: finger ? 10 : 5};
    });
    root.addEventListener("pointermove", (event) => {
      if (!this.points.has(event.pointerId)) return;
      const [x, y] = this.at(event), [ox, oy] = this.points.get(event.pointerId);
      if (this.points.size === 2) {
        const [other] = [...this.points].filter(([id]) => id !== event.pointerId).map(([, spot]) => spot);
        const before = Math.hypot(ox - other[0], oy - other[1]), now = Math.hypot(x - other[0], y - other[1]);
        this.x += (x - ox) / 2;
        this.y += (y - oy) / 2;
        if (before > 10) this.closer(now / before, (x + other[0]) / 2, (y + other[1]) / 2);
      } else if (this.drag) {
        if (!this.drag.moved && Math.hypot(x - this.drag.x, y - this.drag.y) < this.drag.slip) return;
        this.drag.moved = true;
        if (this.cutting) this.rubber([this.drag.x, this.drag.y], [x, y]);
        else if (this.drag.pulls) this.pull(this.drag.held, x, y);
        else { this.x += x - ox; this.y += y - oy; this.settle(); }
      }
      this.points.set(event.pointerId, [x, y]);
    });
    const up = (event, meant) => {
      if (!this.points.delete(event.pointerId)) return;
      const drag = this.drag;
      if (this.points.size === 0) this.drag = null;
      if (!drag || !meant) return;
      const [x, y] = this.at(event);
      if (drag.moved) {
        if (drag.pulls && !this.cutting) this.heard.moved(drag.held.key, this.marks.find(({key}) => key === drag.held.key).tips);
      } else if (!this.cutting) this.tapped(this.inPicture(x, y), drag.held);
    };
    root.addEventListener("pointerup", (event) => up(event, true));
    root.addEventListener("pointercancel", (event) => up(event, false));
    root.addEventListener("wheel", (event) => {
      event.preventDefault();
      const [x, y] = this.at(event);
      this.closer(Math.exp(-event.deltaY * (event.deltaMode ? 0.05 : 0.0016)), x, y);
    }, {passive: false});
    root.addEventListener("keydown", (event) => this.key(event));
  }

  tapped([fx, fy], held) {
    if (fx >= 0 && fy >= 0 && fx <= 1 && fy <= 1) this.heard.tapped([fx, fy], held);
  }

  pull({key, tip}, x, y) {
    const mark = this.marks.find((each) => each.key === key);
    mark.tips = mark.tips.map((old, n) => (n === tip ? this.inPicture(x, y).map((part) => Math.min(Math.max(part, 0), 1)) : old));
    this.draw();
  }

  rubber(from, to) {
    const [a, b] = [this.inPicture(...from), this.inPicture(...to)];
    const sides = [0, 1].map((n) => [a[n], b[n]].map((part) => Math.min(Math.max(part, 0), 1)).sort((p, q) => p - q));
    this.frame = [sides[0][0], sides[1][0], sides[0][1], sides[1][1]];
    this.draw();
  }

  key(event) {
    if (event.target !== this.root || event.ctrlKey || event.altKey || event.metaKey) return;
    const ways = {ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1]};
    const step = event.shiftKey ? 1 : 12;
    if (ways[event.key]) {
      const [dx, dy] = ways[event.key].map((part) => part * step);
      if (this.cutting) this.trim(dx, dy);
      else {
        const from = this.onScreen(this.cross ?? [0.5, 0.5]);
        this.cross = this.inPicture(from[0] + dx, from[1] + dy).map((part) => Math.min(Math.max(part, 0), 1));
        this.reveal(this.cross);
        this.draw();
      }
    } else if (event.key === "Enter" || event.key === " ") {
      if (this.cross && !this.cutting) this.tapped(this.cross, this.near(...this.onScreen(this.cross), 12));
    } else if (event.key === "+") this.closer(1.4);
    else if (event.key === "-") this.closer(1 / 1.4);
    else if (event.key === "0") this.fit();
    else return;
    event.preventDefault();
  }

  trim(dx, dy) {  // right and down cut from left and top, left and up from right and bottom
    const [l, t, r, b] = this.frame ?? [0, 0, 1, 1];
    const x = dx / (this.width * this.scale), y = dy / (this.height * this.scale);
    this.frame = [Math.min(l + Math.max(x, 0), r - 0.05), Math.min(t + Math.max(y, 0), b - 0.05),
      Math.max(r + Math.min(x, 0), l + 0.05), Math.max(b + Math.min(y, 0), t + 0.05)];
    this.draw();
  }
}

function radius(placed) {  // half of the way between the nearest two, within bounds
  const points = placed.flatMap(({spots}) => spots).sort(([a], [b]) => a - b);
  let least = 2 * LARGEST + 2;
  points.forEach(([x, y], n) => {
    for (let m = n + 1; m < points.length && points[m][0] - x < least; m += 1) {
      least = Math.min(least, Math.hypot(points[m][0] - x, points[m][1] - y));
    }
  });
  return Math.max(SMALLEST, Math.min(LARGEST, least / 2 - 1));
}
