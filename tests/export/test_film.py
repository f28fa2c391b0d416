"""Subtitles: which verdicts a film shows, and when, counted from its clap or from a time of day."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from pathlib import Path

import msgspec
import pytest

from metercap.errors import FileProblem, UsageError
from metercap.export import save_subtitles
from metercap.records import Operator, Record, Verdict, VerdictKind
from tests.export.conftest import SESSION
from tests.export.test_webvtt import Parsed, parse_webvtt
from tests.report.papers import lines as journal_lines

PASS, FAIL, UNSURE = VerdictKind.PASS, VerdictKind.FAIL, VerdictKind.UNSURE


def tick(t_s: float, item: str, value: float | None = 0.2, kind: VerdictKind = PASS, **more: object) -> Verdict:
    fields = {"step": "fuses", "unit": "ohm", "resolution": 0.1, **more}
    return Verdict(t_s=t_s, item=item, verdict=kind, value=value, **fields)  # type: ignore[arg-type]


def clap(t_s: float) -> Operator:
    return Operator(t_s=t_s, word="clap", source="line")


@pytest.fixture
def sitting(tmp_path: Path) -> Callable[..., Path]:
    """Write a sitting's records under a name, begun at a time of 4 March 2031, UTC; its local time is an hour ahead."""

    def write(name: str, start: str, *records: Record, **first: object) -> Path:
        path = tmp_path / f"{name}.jsonl"
        start_utc = start if "-" in start else f"2031-03-04T{start}Z"
        session = msgspec.structs.replace(SESSION, id=name, start_utc=start_utc, **first)
        path.write_bytes(journal_lines((session, *records), closed=False))
        return path

    return write


Sitting = Callable[..., Path]


def film(units: list[tuple[str, list[Path]]], **how: object) -> list[Parsed]:
    """The cues of a film, read by the standard's grammar."""
    out = units[0][1][0].parent / "film.vtt"
    out.unlink(missing_ok=True)
    done = save_subtitles(units, out, **how)  # type: ignore[arg-type]
    cues = parse_webvtt(out.read_text("utf-8"))
    assert done.rows == len(cues)
    return cues


def test_counted_from_the_clap(sitting: Sitting) -> None:
    """By hand: the clap at 10.5 s is 0; what was before it is left out; a cue stays 4 s, or until the next one."""
    path = sitting("a", "05:00:00", tick(3.0, "F1"), clap(10.5), tick(12.0, "F2"), tick(13.25, "F3", 0.3))
    assert film([("", [path])]) == [
        (1500, 2750, ("F2: pass, 0.2 Ω",)),
        (2750, 6750, ("F3: pass, 0.3 Ω",)),
    ]
    done = save_subtitles([("", [path])], path.parent / "again.vtt")
    assert done.counted_from == "the clap at 2031-03-04 05:00:10.500 UTC in a.jsonl"
    assert done.lost == ("1 verdicts lie outside this film",)


def test_what_a_cue_says(sitting: Sitting) -> None:
    """Value at the display's resolution; why it is no pass; as found; k of n; condition; accepted."""
    cues = film(
        [
            (
                "",
                [
                    sitting(
                        "a",
                        "05:00:00",
                        clap(0.0),
                        tick(
                            10.0, "F2", 1200.0, FAIL, resolution=1.0, reason="above the upper limit; accuracy unknown"
                        ),
                        tick(20.0, "F3", None, FAIL, reason="open, by the operator's word"),
                        tick(30.0, "RV1", 1500.0, resolution=1.0, as_found=1860.0, as_left=1500.0),
                        tick(40.0, "S1", None, FAIL, k=17, runs=20),
                        tick(50.0, "BT1", 3.12, unit="V", resolution=0.01, condition="good"),
                        tick(60.0, "F2", 1200.0, FAIL, resolution=1.0, accepted="the owner knows"),
                    )
                ],
            )
        ]
    )
    assert [text for _, _, (text,) in cues] == [
        "F2: fail, 1.200 kΩ, above the upper limit",
        "F3: fail, open, by the operator's word",
        "RV1: pass, 1.500 kΩ, as found 1.860 kΩ",
        "S1: fail, 17 of 20",
        "BT1: pass, 3.12 V, good",
        "F2: fail, 1.200 kΩ, accepted: the owner knows",
    ]


def test_what_only_repeats_is_not_shown_again(sitting: Sitting) -> None:
    """A step's end gives its verdicts anew: the same is no news, another one is."""
    path = sitting(
        "a", "05:00:00", clap(0.0), tick(1.0, "R1"), tick(3.0, "R2"), tick(9.0, "R1"), tick(9.0, "R2", 0.2, UNSURE)
    )
    assert [(start, lines) for start, _, lines in film([("", [path])])] == [
        (1000, ("R1: pass, 0.2 Ω",)),
        (3000, ("R2: pass, 0.2 Ω",)),
        (9000, ("R2: unsure, 0.2 Ω",)),
    ]


def test_many_of_one_moment_share_a_cue(sitting: Sitting) -> None:
    """Up to three have a line each; more are named by their verdict, and from the seventh on counted."""
    for many, lines in (
        (3, ("F1: unsure, 0.2 Ω", "F2: unsure, 0.2 Ω", "F3: unsure, 0.2 Ω")),
        (4, ("F1, F2, F3, F4: unsure",)),
        (9, ("F1, F2, F3, F4, F5, F6 and 3 more: unsure",)),
    ):
        ticks = [tick(5.0, f"F{n}", 0.2, UNSURE) for n in range(1, many + 1)]
        assert film([("", [sitting("a", "05:00:00", clap(1.0), *ticks)])]) == [(4000, 8000, lines)]


def test_close_ones_can_be_read_both(sitting: Sitting) -> None:
    """0.2 s apart: the first stays 0.7 s all the same."""
    cues = film([("", [sitting("a", "05:00:00", clap(0.0), tick(1.0, "F1"), tick(1.2, "F2"))])])
    assert [cue[:2] for cue in cues] == [(1000, 1700), (1200, 5200)]


def test_two_units_in_one_film(sitting: Sitting) -> None:
    """`take`: the film goes on over both units' sittings, by the computer's clock, and names the unit."""
    left = sitting("001-L", "05:00:00", clap(2.0), tick(5.0, "F1"))
    right = sitting("002-R", "05:00:06.500", tick(1.0, "F1", 9.9, FAIL))
    assert film([("L", [left]), ("R", [right])]) == [
        (3000, 5500, ("L F1: pass, 0.2 Ω",)),
        (5500, 9500, ("R F1: fail, 9.9 Ω",)),
    ]


def test_what_a_sitting_took_over_was_not_judged_in_it(sitting: Sitting) -> None:
    """An inherited verdict stands in the journal, but nobody measured it then."""
    path = sitting("a", "05:00:00", clap(0.0), tick(1.0, "F1", reason="from session x; limits"), tick(2.0, "F2"))
    assert [lines for _, _, lines in film([("", [path])])] == [("F2: pass, 0.2 Ω",)]


def test_each_clap_begins_a_film(sitting: Sitting) -> None:
    """Two films: which is meant must be said, both are listed. A clap again before anything was judged replaces one."""
    path = sitting(
        "a", "05:00:00", clap(1.0), clap(2.0), tick(5.0, "F1"), clap(20.0), tick(21.0, "F2"), tick(22.0, "F3")
    )
    units = [("", [path])]
    with pytest.raises(UsageError) as caught:
        film(units)
    assert caught.value.what == (
        "there are 2 films: 1: the clap at 2031-03-04 05:00:02.000 UTC in a.jsonl, 1 verdicts; "
        "2: the clap at 2031-03-04 05:00:20.000 UTC in a.jsonl, 2 verdicts"
    )
    assert caught.value.hint == "--clap 1"
    assert [cue[0] for cue in film(units, clap=1)] == [3000]
    assert [cue[0] for cue in film(units, clap=2)] == [1000, 2000]
    with pytest.raises(UsageError, match="no film 3, only 2"):
        film(units, clap=3)


def test_the_next_days_sitting_is_not_in_the_film(sitting: Sitting) -> None:
    """A sitting that begins within an hour goes on in it; after a longer pause nobody filmed."""
    units = [("", [sitting("a", "05:00:00", clap(0.0), tick(10.0, "F1")), sitting("b", "06:00:10", tick(5.0, "F2"))])]
    assert [cue[0] for cue in film(units)] == [10_000, 3_615_000]
    units = [("", [sitting("a", "05:00:00", clap(0.0), tick(10.0, "F1")), sitting("b", "06:00:11", tick(5.0, "F2"))])]
    assert [cue[0] for cue in film(units)] == [10_000]


def test_no_clap_says_what_to_try(sitting: Sitting) -> None:
    with pytest.raises(UsageError) as caught:
        film([("", [sitting("a", "05:00:00", tick(1.0, "F1"))])])
    assert caught.value.what == "there is no clap to count from"
    assert "--film-start 15:04:05" in caught.value.hint


def test_a_clap_and_nothing_judged(sitting: Sitting) -> None:
    with pytest.raises(UsageError, match=r"judged after the clap at 2031-03-04 05:00:09\.000 UTC"):
        film([("", [sitting("a", "05:00:00", tick(1.0, "F1"), clap(9.0))])])


@pytest.mark.parametrize(
    "text",
    [
        *("06:00:10", "06:00:10.000", "2031-03-04 06:00:10", "2031-03-04T06:00:10"),  # the bench's own time: UTC + 1 h
        *("2031-03-04T05:00:10Z", "2031-03-04T07:00:10+02:00", "05:00:10Z", " 06:00:10 "),
    ],
)
def test_counted_from_a_time(sitting: Sitting, text: str) -> None:
    """Local time where no zone is said. All of these are ten seconds after the start."""
    path = sitting("a", "05:00:00", tick(3.0, "F1"), tick(12.0, "F2"))
    assert [cue[0] for cue in film([("", [path])], film_start=text)] == [2000]


def test_a_time_of_day_is_the_nearest_one(sitting: Sitting) -> None:
    """The film began before midnight, the session after it (local time); and the other way round."""
    path = sitting("a", "2031-03-03T23:00:30Z", tick(3.0, "F1"))  # 00:00:30 in local time
    assert [cue[0] for cue in film([("", [path])], film_start="23:59:50")] == [43_000]
    path = sitting("a", "2031-03-03T22:59:30Z", tick(60.0, "F1"))  # 23:59:30
    assert [cue[0] for cue in film([("", [path])], film_start="00:00:10")] == [20_000]


@pytest.mark.parametrize("text", ["noon", "25:00", "2031-03-04", "", "6 o'clock"])
def test_what_is_no_time_is_refused(sitting: Sitting, text: str) -> None:
    """A date alone says no moment. (An empty text is no option given: then the clap is missed.)"""
    with pytest.raises(UsageError, match="is no time" if text else "no clap"):
        film([("", [sitting("a", "05:00:00", tick(1.0, "F1"))])], film_start=text)


def test_a_time_of_day_among_several_days_needs_its_date(sitting: Sitting) -> None:
    units = [("", [sitting("a", "05:00:00", tick(1.0, "F1")), sitting("b", "2031-03-05T05:00:00Z", tick(1.0, "F2"))])]
    with pytest.raises(UsageError, match="several days: say the date"):
        film(units, film_start="06:00:00")
    assert [cue[2] for cue in film(units, film_start="2031-03-05 06:00")] == [("F2: pass, 0.2 Ω",)]


def test_a_time_far_from_all_says_when_things_were_judged(sitting: Sitting) -> None:
    with pytest.raises(UsageError) as caught:
        film([("", [sitting("a", "05:00:00", tick(1.5, "F1"))])], film_start="2031-03-04T01:00Z")
    assert "within an hour of the film's start at 2031-03-04 01:00" in caught.value.what
    assert "the first verdict is of 2031-03-04 05:00:01.500 UTC" in caught.value.hint


def test_a_torn_file_shows_what_it_has(sitting: Sitting) -> None:
    """Cut inside its last line: the rest counts, and what is lost is told."""
    path = sitting("a", "05:00:00", clap(0.0), tick(1.0, "F1"), tick(2.0, "F2"))
    path.write_bytes(path.read_bytes()[:-5])
    assert [cue[2] for cue in film([("", [path])])] == [("F1: pass, 0.2 Ω",)]
    assert "a.jsonl" in save_subtitles([("", [path])], path.parent / "again.vtt").lost[0]


@pytest.mark.parametrize("start", ["2031-03-04T05:00:00", "yesterday-", "0001-01-01T00:00:00+14:00"])
def test_a_file_that_does_not_say_when_it_began(sitting: Sitting, start: str) -> None:
    """No zone, no time, or none that there is: told, not guessed."""
    with pytest.raises(UsageError, match="does not say when it began"):
        film([("", [sitting("a", start, clap(0.0), tick(1.0, "F1"))])])


def test_nothing_is_overwritten(sitting: Sitting) -> None:
    path = sitting("a", "05:00:00", clap(0.0), tick(1.0, "F1"))
    out = path.parent / "kept.vtt"
    out.write_text("mine")
    with pytest.raises(FileProblem, match="already exists"):
        save_subtitles([("", [path])], out)
    assert out.read_text() == "mine"


def test_the_middle_of_the_day_counts_half_a_day(sitting: Sitting) -> None:
    """Sittings within twelve hours are of one day of work, over midnight too."""
    late = datetime.datetime(2031, 3, 4, 22, 0, tzinfo=datetime.UTC)
    after = (late + datetime.timedelta(hours=4)).isoformat()
    units = [("", [sitting("a", late.isoformat(), tick(1.0, "F1")), sitting("b", after, tick(1.0, "F2"))])]
    assert [cue[2] for cue in film(units, film_start="23:00")] == [("F1: pass, 0.2 Ω",)]
