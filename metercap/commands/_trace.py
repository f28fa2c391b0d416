"""A trace without a plan: what `watch` shows and what `record` keeps are one loop over the meter's readings."""

from __future__ import annotations

import sys
from pathlib import Path

from metercap.commands._opening import free_name, session_record
from metercap.commands._readout import Readout, UntilGone, some_words
from metercap.commands._saying import complain, tell
from metercap.commands._web import second_screen, told_lines
from metercap.files import refuse_existing
from metercap.finding.found import meter_on, remember, same_file

INTERRUPTED = 130
TITLE = "Free trace"
"""The title of the plan a trace carries; it has no steps, so nothing in it is judged."""


def trace(
    *,
    port: str | None,
    meter: str | None,
    rate: float | None,
    out: Path | None,
    save: bool = True,
    what: str = "trace",
    unit: str = "",
    operator: str = "",
    words: tuple[str, ...] = ("note", "quit"),
    count: int | None = None,
    plain: bool,
    as_json: bool,
    web: str | None = None,
) -> int:
    """Show the meter's readings until quit, or until `count` of them or nobody reads on, and keep them if `save`.

    Without `out` the journal is named for date, time and unit, or `what`; one that would hold no reading is not left.
    """
    from metercap.clock import ScaledClock
    from metercap.commands._live import tell_complaint
    from metercap.journal import Writer
    from metercap.link import open_link
    from metercap.live import Inbox, Live, Trace
    from metercap.outlet import go_live
    from metercap.plain import JsonLines
    from metercap.plan import Plan
    from metercap.wire import decoder

    if out is not None:
        refuse_existing(out)
    page = second_screen(web)
    found = meter_on(port, meter, tell)
    profile = found.profile if rate is None else found.profile.at_rate(rate)
    driver = Trace()
    show: Readout | JsonLines = JsonLines() if as_json else Readout(in_place=not plain)
    say = show.say if isinstance(show, Readout) else complain
    source = open_link(found.port, profile)
    clock = ScaledClock()
    if isinstance(show, Readout) and source.identity:
        show.say(source.identity)
    mine = some_words(sys.stdin, words, as_lines=as_json, say=say)
    until = UntilGone(show, driver, count)
    writer = None
    kept = out or free_name(unit, what)
    if save:
        options: dict[str, object] = {"port": found.port, "trace": True}
        if rate is not None:
            options["rate"] = rate
        record = session_record(
            Plan(title=TITLE, steps=()),
            profile,
            unit=unit or what,
            operator=operator,
            identity=source.identity,
            options=options,
        )
        try:
            writer = Writer.create(kept, record)
        except BaseException:
            source.stop()
            raise
    remember(port=found.port, meter=same_file(found.meter))
    live = Live(
        driver,
        decoder(profile, midstream=True),
        writer,
        [show, until, *([] if page is None else [page.teller])],
        Inbox(),
        clock,
        profile=profile,
        source=source,
        words=[*([] if mine is None else [mine]), *([] if page is None else [page.teller])],
    )
    if page is not None:
        page.teller.begin()
        for line in told_lines(page.at, drawn=not as_json and sys.stdout.isatty()):
            say(line)
    go_live()
    try:
        reason = live.run()
    finally:
        if page is not None:
            page.teller.close()
        if isinstance(show, Readout):
            show.close()
        tell_complaint(source)
    if save and out is None and not until.seen:
        kept.unlink(missing_ok=True)
    elif save:
        say(f"journal: {kept}")
    return INTERRUPTED if reason == "interrupted" else 0
