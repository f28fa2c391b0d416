"""Profiles are found where they should be, and a broken one names file and key."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from metercap import profiles
from metercap.errors import PlanError, ProfileError
from metercap.profiles import find_meter, find_plan, load_meter, meter_names, plan_names

CHECKOUT = Path(__file__).parents[1] / "profiles"
FAMILIES = ["lcd14", "digits14", "polled-line", "text", "scpi"]


def broken(tmp_path: Path, text: str) -> str:
    """Return what loading a profile of this text says."""
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ProfileError) as caught:
        load_meter(path)
    assert str(path) in str(caught.value)
    return str(caught.value)


def test_each_family_ships_a_profile_of_its_own_name() -> None:
    """Five families, five profiles; a shorter relative is one more."""
    assert set(FAMILIES) <= set(meter_names())
    for name in FAMILIES:
        assert find_meter(name).family == name
    for name in meter_names():
        assert find_meter(name).name == name


@pytest.mark.parametrize(
    ("name", "serial", "rate"),
    [
        ("lcd14", (2400, 8, "none", 1), 2.0),
        ("digits14", (19200, 7, "odd", 1), 2.0),
        ("digits11", (19200, 7, "odd", 1), 2.0),
        ("polled-line", (600, 7, "none", 2), 2.0),
        ("text", (9600, 8, "none", 1), 1.0),
    ],
)
def test_serial_settings_and_rates_are_the_families_own(
    name: str, serial: tuple[int, int, str, int], rate: float
) -> None:
    """2400 8N1, 19200 7O1, 600 7N2; the slowest rate of each family."""
    profile = find_meter(name)
    port = profile.serial
    assert (port.baud, port.bits, port.parity, port.stop) == serial
    assert profile.conversions_per_s == rate


def test_no_profile_names_a_maker_or_a_model() -> None:
    """Profiles are named for what is on the wire: no capital-letter part number, no web address."""
    for path in sorted((CHECKOUT / "meters").glob("*.toml")):
        comments = [line for line in path.read_text(encoding="utf-8").splitlines() if line.startswith("#")]
        for line in comments:
            assert not re.search(r"\b[A-Z]{2,}[-]?\d{2,}|https?:", line.replace("SCPI-99", "")), (path.name, line)


def test_a_path_comes_before_a_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file that exists is taken as it is, relative or absolute."""
    text = (CHECKOUT / "meters" / "lcd14.toml").read_text(encoding="utf-8").replace('name = "lcd14"', 'name = "mine"')
    (tmp_path / "mine.toml").write_text(text, encoding="utf-8")
    assert find_meter(str(tmp_path / "mine.toml")).name == "mine"
    monkeypatch.chdir(tmp_path)
    assert find_meter("mine.toml").name == "mine"


def test_the_checkout_comes_before_the_wheel_s_copy(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An installed wheel reads its own copy; a checkout, told by its project file, reads what is being edited."""
    package = tmp_path / "metercap"
    for folder, name in ((package / "_profiles", "wheel"), (tmp_path / "profiles", "checkout")):
        (folder / "meters").mkdir(parents=True)
        (folder / "meters" / f"{name}.toml").write_text("")
        (folder / "meters" / "both.toml").write_text("")
    monkeypatch.setattr(profiles, "_PACKAGE", package)
    assert profiles.folders() == [package / "_profiles"]
    assert meter_names() == ["both", "wheel"]
    (tmp_path / "pyproject.toml").write_text("")
    assert profiles.folders() == [tmp_path / "profiles", package / "_profiles"]
    assert meter_names() == ["both", "checkout", "wheel"]
    assert profiles._find("both", "meters", "meter profile", ProfileError) == tmp_path / "profiles/meters/both.toml"


@pytest.mark.parametrize("name", ["lcd15", "", "  ", "../lcd14", "no/such/file.toml", "a\0b", "x" * 5000, "."])
def test_an_unknown_name_says_what_there_is(name: str) -> None:
    """A name nobody knows, and hostile ones, are an error that lists the names."""
    with pytest.raises(ProfileError) as caught:
        find_meter(name)
    assert "lcd14" in str(caught.value) or "too long" in str(caught.value)


def test_a_misspelt_name_gets_the_nearest() -> None:
    """lcd15 may be lcd14."""
    with pytest.raises(ProfileError, match='did you mean "lcd14"'):
        find_meter("lcd15")


def test_plans_are_found_alike(tmp_path: Path) -> None:
    """A plan is found by path or name and returned as a path; an unknown one is a PlanError."""
    path = tmp_path / "board.toml"
    path.write_text("")
    assert find_plan(str(path)) == path
    for name in plan_names():
        assert find_plan(name).is_file()
    with pytest.raises(PlanError):
        find_plan("no-such-plan")


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ('name = "a"', "family: is missing"),
        ('family = "lcd14"', "name: is missing"),
        ('name = "a"\nfamily = "lcd15"', "family: no decoder for 'lcd15', did you mean \"lcd14\""),
        ('name = "a"\nfamily = "text"\nbuad = 1', "buad: no such key"),
        ('name = "a"\nfamily = "text"\nconversion_per_s = 1', 'did you mean "conversions_per_s"'),
        ('name = "a"\nfamily = "text"\n[serial]\nbuad = 1', 'serial.buad: no such key, did you mean "baud"'),
        ('name = "a"\nfamily = "text"\n[serial]\nbaud = "x"', "serial.baud: expected `int`"),
        ('name = "a"\nfamily = "text"\n[serial]\nbits = 9', "serial.bits: invalid enum value 9"),
        ('name = "a"\nfamily = "text"\n[serial]\nbaud = 0', "serial.baud: must be a number above 0"),
        ('name = "a"\nfamily = "text"\nserial = 5', "serial: expected `object`"),
        ('name = "a"\nfamily = "text"\n[poll]\nsend = "D"', "poll.per_s: is missing"),
        ('name = "a"\nfamily = "text"\n[poll]\nsend = "Ω"\nper_s = 1', "poll.send: must be ASCII"),
        ('name = "a"\nfamily = "text"\n[poll]\nsend = "D"\nper_s = inf', "poll.per_s: must be a number above 0"),
        ('name = "a"\nfamily = "text"\nconversions_per_s = 0', "conversions_per_s: must be"),
        ('name = "a"\nfamily = "text"\nconversions_per_s = nan', "conversions_per_s: must be"),
        ('name = "a"\nfamily = "text"\n[conversions_per_s_by]\nresistence = 1', "conversions_per_s_by"),
        ('name = "a"\nfamily = "text"\n[conversions_per_s_by]\nduty = -1', "conversions_per_s_by.duty: must be"),
        ('name = "a"\nfamily = "text"\n[[accuracy]]\nquantity = "duty"', "accuracy, row 1: percent: is missing"),
        (
            'name = "a"\nfamily = "text"\n[[accuracy]]\nquantity = "duty"\npercent = -1\ncounts = 1',
            "accuracy, row 1: percent: must be 0 or above",
        ),
        (
            'name = "a"\nfamily = "text"\n[[accuracy]]\nquantity = "duty"\npercent = 1\ncounts = 1\nresolution = 0',
            "accuracy, row 1: resolution: must be above 0",
        ),
        ('name = "a"\nfamily = "text"\naccuracy = 1', "accuracy: expected `array`"),
        ('name = "a"\nfamily = "text"\n[tables]\nunits = 5', "tables"),
        ('name = "a"\nfamily = "text"\nschema = 2', "schema 2 is newer"),
        ('name = "a"\nfamily = "text"\nschema = 0', "schema: must be 1"),
        ('name = "\\u001b[2J"\nfamily = "text"', "name: must be printable"),
        ('name = "a"\nfamily = "text"', "tables.units: is missing"),
        ("name = ", "is not TOML"),
        ('name = "a"\nname = "b"', "is not TOML"),
        ("a = " + "[" * 5000, "is not TOML"),
    ],
)
def test_a_broken_profile_names_its_key(tmp_path: Path, text: str, why: str) -> None:
    """Each problem names the file and the key, with the nearest right spelling."""
    assert why in broken(tmp_path, text)


def test_all_problems_of_a_profile_come_at_once(tmp_path: Path) -> None:
    """Three mistakes, one error."""
    text = broken(tmp_path, 'name = 5\nfamily = "lcd15"\n[serial]\nbuad = 1')
    assert "name: expected" in text
    assert "family: no decoder" in text
    assert "serial.buad" in text


def test_files_that_are_no_profiles_are_refused(tmp_path: Path) -> None:
    """Not UTF-8, huge, a folder: an error with the place, never a traceback."""
    path = tmp_path / "mine.toml"
    path.write_bytes(b'name = "\xff"')
    with pytest.raises(ProfileError, match="not UTF-8"):
        load_meter(path)
    path.write_bytes(b"# " + b"x" * 1_000_001)
    with pytest.raises(ProfileError, match="larger than"):
        load_meter(path)
    with pytest.raises(ProfileError, match="cannot be read"):
        load_meter(tmp_path)


def test_a_relative_is_read_on_top_of_its_like(tmp_path: Path) -> None:
    """Keys and rows that it states differ, all others are the other's; accuracy is each meter's own; no chains."""
    path = tmp_path / "far.toml"
    path.write_text(
        'name = "far"\nlike = "digits14"\ncounts = 9999\n[tables.weights]\n"37" = 1e5\n[serial]\nbaud = 9600\n'
    )
    base, far = find_meter("digits14"), load_meter(path)
    assert (far.family, far.counts, far.like, far.serial.baud, far.serial.bits) == (
        "digits14",
        9999,
        "digits14",
        9600,
        7,
    )
    assert far.tables["weights"] == base.tables["weights"] | {"37": 1e5}
    assert far.tables["bits"] == base.tables["bits"]
    (tmp_path / "next.toml").write_text(f'name = "next"\nlike = "{path}"\n')
    with pytest.raises(ProfileError, match="itself like another"):
        load_meter(tmp_path / "next.toml")
    path.write_text('name = "far"\nlike = "digits15"\n')
    with pytest.raises(ProfileError, match="digits15"):
        load_meter(path)


def test_duty_and_temperature_of_digits14_stay_refused() -> None:
    """Their weights have no source: no rows, in the family's profile and its relatives."""
    for name in ("digits14", "digits14-60000"):
        weights = find_meter(name).tables["weights"]
        assert not [key for key in weights if key.endswith("duty") or key.startswith("4")]
