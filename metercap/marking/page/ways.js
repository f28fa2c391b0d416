// What the taps say of the order of probing and of groups: shown, taken or left, step by step.
import {button, element} from "/dom.js";

export function runs(names) {  // F1, F2, F3 is F1–F3
  const out = [];
  for (const name of names) {
    const [, head, tail] = /^(.*?)(\d*)$/s.exec(name), last = out.at(-1);
    if (last && tail && last.head === head && Number(tail) === last.to + 1) { last.to += 1; last.text = name; last.n += 1; }
    else out.push({head, to: tail ? Number(tail) : NaN, first: name, text: name, n: 1});
  }
  return out.map((run) => (run.n === 1 ? run.first : run.n === 2 ? `${run.first}, ${run.text}` : `${run.first}–${run.text}`)).join(", ");
}

export function wayOf(each, {shows, does, taps}) {
  const box = element("section");
  box.dataset.step = each.step;
  box.append(element("p", `${each.step}: probed as ${runs(each.now)}`));
  const row = element("div");
  const offer = (text, then) => row.append(button(text, then));
  if (each.order.length) {
    box.append(element("p", `You tapped them as ${runs(each.order)}.`));
    offer("Show that way", () => shows([each.order]));
    offer("Probe in that order", () => does({do: "order", names: each.order}));
  }
  offer("Tap the order", taps);
  offer("Show the way", () => shows([each.now]));
  if (each.groups.length) {
    box.append(element("p", `Near each other: ${each.groups.map(runs).join(" / ")}. As groups, the count is asked after each.`));
    offer("Show the groups", () => shows(each.groups));
    offer("Take these groups", () => does({do: "groups", groups: each.groups}));
  }
  if (each.grouped.length) {
    box.append(element("p", `Groups: ${each.grouped.map(runs).join(" / ")}`));
    offer("No groups", () => does({do: "groups", groups: []}));
  }
  box.append(row);
  return box;
}
