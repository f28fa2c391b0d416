"""What job.toml may say, and that every mistake in it is named."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from metercap.errors import JobError
from metercap.job.model import JobFile, JobUnit, load, tag_problem, text_of

PAIR = JobFile(
    "vent pair",
    "plan.toml",
    (JobUnit("L", "left one", "0231", "", known_good=True), JobUnit("R", symptom='fan "stops"\nwhen warm')),
    "GC-8",
)


HEAD = 'title = "a"\nplan = "p.toml"\n'


def test_what_is_written_is_read() -> None:
    """As TOML by a parser that is not ours, and as the same job by ours."""
    text = text_of(PAIR)
    assert tomllib.loads(text)["unit"][1] == {"tag": "R", "symptom": 'fan "stops"\nwhen warm'}
    assert load(text, "job.toml") == PAIR


@given(st.text(max_size=40), st.text(max_size=40), st.text(max_size=40))
def test_any_text_comes_back(title: str, name: str, symptom: str) -> None:
    """Quotes, line ends, what drives a terminal: all of it, but for lone halves of a pair, which no file holds."""
    job = JobFile(title, "plan.toml", (JobUnit("L", name, symptom, symptom),))
    halves = any(0xD800 <= ord(sign) < 0xE000 for sign in title + name + symptom)
    assert halves or load(text_of(job), "job.toml") == job


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (f'{HEAD}[[unit]]\ntag = "l"\n[[unit]]\ntag = "L"', "unit 2, tag: 'L' is there twice"),
        ("title = ", "is not TOML"),
        ('title = "a"\nplan = "plan.toml"', "unit: is missing"),
        ('titel = "a"\nplan = "p.toml"\n[[unit]]\ntag = "L"', 'titel: no such key, did you mean "title"?'),
        (
            'title = "a"\nplan = "p.toml"\n[[unit]]\ntag = "L"\nserail = "1"',
            'unit 1, serail: no such key, did you mean "ser',
        ),
        (f'{HEAD}[[unit]]\ntag = "L"\n[[unit]]\ntag = "l"', "unit 2, tag: 'l' is there twice"),
        (f'{HEAD}[[unit]]\ntag = "../x"', "is no tag"),
        (f'{HEAD}[[unit]]\ntag = "L"\nknown_good = "yes"', "known_good: expected `bool`"),
        ('title = "a"\nplan = "/etc/x.toml"\n[[unit]]\ntag = "L"', "is no file beside this one"),
        (f"{HEAD}unit = []", "a job has 1 to"),
        (
            'title = "a"\nplan = "p.toml"\n[[unit]]\ntag = "L"\nname = "R"\n[[unit]]\ntag = "R"',
            "name: 'R' is there twice",
        ),
        ("[" * 5000, "is not TOML"),
    ],
)
def test_mistakes_are_named(text: str, said: str) -> None:
    """Each with where it is."""
    with pytest.raises(JobError) as caught:
        load(text, "job.toml")
    assert said in str(caught.value) and "job.toml" in str(caught.value)


@pytest.mark.parametrize("tag", ["L", "R2", "left", "a-b_c", "12345678"])
def test_tags(tag: str) -> None:
    """Short, spoken, part of a file's name."""
    assert not tag_problem(tag)


@pytest.mark.parametrize("tag", ["", " ", "123456789", "a b", "-a", "a/b", "a.b", "é", "a\n"])
def test_no_tags(tag: str) -> None:
    """Too long, or what a file's name or a word cannot hold."""
    assert tag_problem(tag)


def test_a_unit_is_found_in_any_case() -> None:
    """Another tag is answered with the nearest, and with all."""
    assert PAIR.unit(" l ") is PAIR.units[0]
    with pytest.raises(JobError, match="no unit 'Q'"):
        PAIR.unit("Q")


def test_a_unit_without_a_name_is_told_apart_from_those_of_other_jobs() -> None:
    """Every job may have an R; a name is taken as it is."""
    assert (PAIR.named(PAIR.units[0]), PAIR.named(PAIR.units[1])) == ("left one", "vent pair R")
