// The film's view: the item, the live value, what it is measured against, and the tick.
import { listen } from "/feed.js";

const $ = (id) => document.getElementById(id);

listen({
  state(state) { document.body.className = state; $("live").textContent = state === "over" ? "" : "not live"; },
  glance({ film }) {
    $("mark").textContent = film.mark;
    $("mark").className = film.tone;
    $("item").textContent = film.item;
    $("value").textContent = film.value;
    $("value").className = film.mark || film.tone === "alarm" ? film.tone : "";
    $("target").textContent = film.target;
  },
});
