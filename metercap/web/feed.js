// The feed: glances as they come, and whether they are live. What is a second old is not shown as if it were now.

const STALE_MS = 1000; // without a sign of life
const REOPEN_MS = 2500; // then the connection itself is not believed any more
const AGAIN_MS = 400;
const LOOK_MS = 100;

// `on` takes hello, pictures, glance (parsed) and state: "live", "stale" or "over".
export function listen(on) {
  let source = null;
  let opened = 0;
  let heard = -Infinity; // when something that was not late came last
  let least = Infinity; // what this machine's clock is before the server's, at least: the rest of it is delay
  let over = false;
  let state = "";
  let timer = 0;

  function look() {
    const live = Date.now() - heard < STALE_MS && !document.hidden;
    const now = over ? "over" : live ? "live" : "stale";
    if (now !== state) { state = now; on.state?.(now); }
    // Never while hidden: what a connection brings to a page that is put to sleep right then looks new when it wakes.
    if (!live && !document.hidden && source && Date.now() - Math.max(heard, opened) > REOPEN_MS) open();
  }

  function take(kind, event) {
    const now = Date.now();
    // By its first word the clocks are compared; one that took long says nothing of now.
    if (kind === "hello" && now - opened > STALE_MS) { open(); return; }
    const apart = now - Number(event.lastEventId);
    least = Math.min(least, apart);
    // What lay in a buffer while this browser slept is old news, and so is the last glance of a session that is silent:
    // it is taken, but it is no sign of life. Of hello and pictures the server alone knows.
    if ((kind === "message" || kind === "beat") && apart - least < STALE_MS) heard = now;
    if (kind === "over") { over = true; close(AGAIN_MS * 5); }
    else if (kind === "message") { over = false; on.glance?.(JSON.parse(event.data)); }
    else if (kind !== "beat") on[kind]?.(JSON.parse(event.data));
    look();
  }

  function close(again) {
    source?.close();
    source = null;
    clearTimeout(timer);
    if (again) timer = setTimeout(open, again);
  }

  function open() {
    close(0);
    least = Infinity;
    opened = Date.now();
    const mine = new EventSource("/feed");
    source = mine;
    for (const kind of ["message", "beat", "hello", "pictures", "over"]) {
      mine.addEventListener(kind, (event) => { if (source === mine) take(kind, event); });
    }
    mine.onerror = () => { if (source === mine) { heard = -Infinity; close(AGAIN_MS); look(); } };
  }

  document.addEventListener("visibilitychange", () => {
    // Put out before it is hidden, so that whoever wakes it does not see the past for a moment.
    heard = -Infinity;
    look();
    if (!document.hidden) open();
  });
  addEventListener("pageshow", (event) => { if (event.persisted) open(); });
  setInterval(look, LOOK_MS);
  open();
}
