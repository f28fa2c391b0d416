"""A plan said back: what is written stands on lines of its own, what is not in one line."""

from metercap.plan.load import load_plan
from metercap.plan.show import plan_lines

TEXT = """
[plan]
title = "Main board"
model = "GC-8"
cautions = ["Disconnect every cell."]
tokens = { open = "143 ohm" }
[[step]]
id = "fuses"
kind = "sweep"
say = "rear row first"
cautions = ["Same rating and type."]
items = ["F1..F3", { name = "F4..F6", max = "1 ohm", where = "rear" }, { name = "F9", type = "unknown" }]
max = "2 ohm"
patience_s = "2 min"
[[step]]
id = "bridge"
kind = "tune"
items = ["RV1"]
target = "2.187 kohm"
tolerance = "± 0.5 %"
never_below = "1.2 kohm"
rule = "simple"
[[step]]
id = "rail"
kind = "check"
power = "on"
items = [{ name = "TP1", red = "TP1", black = "TP0", both_ways = true, connected = "all plugs", min = "-5.25 V" }]
[[step]]
id = "starts"
kind = "trials"
power = "on"
reliability = 0.9
confidence = "90 %"
"""


def test_every_line() -> None:
    """The whole picture, line by line."""
    assert list(plan_lines(load_plan(TEXT, "x"))) == [
        "Main board, model GC-8",
        "  a unit with a supply; rule guarded",
        "  ! Disconnect every cell.",
        "  token open: 143 Ω",
        "",
        "  1. fuses: sweep",
        "     “rear row first”",
        "     ! Same rating and type.",
        "     7 items: F1..F3",
        "       F4..F6: rear; at most 1 Ω",
        "       F9: fuse, unknown type",
        "     max: 2 Ω",
        "     patience_s: 2 min",
        "     by default: recontact_s 500 ms, contacts 1, count_check yes",
        "",
        "  2. bridge: tune",
        "     1 item: RV1",
        "     target: 2.187 kΩ",
        "     tolerance: ± 0.5 %",
        "     never_below: 1.2 kΩ",
        "     rule: simple",
        "     by default: recontact_s 500 ms, contacts 1, rest_s 2 s",
        "",
        "  3. rail: check, power on",
        "     1 item:",
        "       TP1: red on TP1; black on TP0; both ways; connected: all plugs; at least -5.25 V",
        "     by default: recontact_s 500 ms, contacts 2, patience_s 10 s",
        "",
        "  4. starts: trials, power on",
        "     confidence: 90 %",
        "     by default: runs 20, reliability 90 %",
    ]


def test_hostile_text_is_escaped() -> None:
    """Escape sequences in any text of a plan are shown, not sent."""
    text = TEXT.replace("rear row first", "a\\u001b[2J").replace('where = "rear"', 'where = "\\u202e"')
    text = text.replace("Main board", "x\\u0007").replace("all plugs", "\\n")
    for line in plan_lines(load_plan(text, "x")):
        assert line.isprintable()
