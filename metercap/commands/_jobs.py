"""Running a job: one unit after the other through its plan, on one port, in one run of the program."""

from __future__ import annotations

import contextlib
import datetime
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click
import msgspec

from metercap.clock import ScaledClock, VirtualClock
from metercap.commands._live import INTERRUPTED, Keep, Shown, print_closing, rescue, run_live, shown_by
from metercap.commands._opening import session_record, step_ids
from metercap.commands._pictures import picture_folders
from metercap.commands._plans import checked_plan
from metercap.commands._rates import keep_rates, kept_rates
from metercap.commands._reference import Rows, read_reference
from metercap.commands._saying import tell
from metercap.commands._shop import Nearby
from metercap.commands._started import Wish
from metercap.commands._web import Paged, second_screen
from metercap.errors import JournalError, MetercapError, UsageError
from metercap.evidence import places_of
from metercap.finding.found import NoMeter, meter_on, no_meter, remember, same_file
from metercap.gate import visible
from metercap.job import Folder, JobUnit, held
from metercap.job.find import remember_job
from metercap.job.state import Played, UnitState, job_states, on_mat
from metercap.journal import Writer
from metercap.journal.rescue import folders, names
from metercap.judging.rests import judgement_of
from metercap.link import Source, open_link
from metercap.live import Following, Reason
from metercap.meter import MeterProfile
from metercap.order import Shop, known
from metercap.outcome import Fold
from metercap.plan import Plan
from metercap.profiles import find_meter
from metercap.records import InJob, SessionRecord
from metercap.reference.gather import of_session
from metercap.reference.learning import combine
from metercap.reference.model import Reference, rows
from metercap.session import Driver, Session
from metercap.session.taken import Left, Nulled, nulled, taken_over
from metercap.wire import decoder

REFUSED = ("unit", "known_good", "after", "continue_", "out")
"""What the job itself says, so that it cannot be wished otherwise."""


class Stage(msgspec.Struct, frozen=True):
    """A practice bench in the place of the meter and of whoever works: its `clock`, what sees and speaks there, and
    `sit`, which puts the unit of a session that begins on the mat. `play` runs the loop where no time passes, `show`
    makes what shows the job and listens, where that is not as usual."""

    clock: ScaledClock | VirtualClock
    sit: Callable[[SessionRecord, float, float], None]
    observers: tuple[Any, ...] = ()
    words: tuple[Any, ...] = ()
    play: Callable[..., Reason] | None = None
    linger_s: float = 0.0
    sound: bool = False
    show: Callable[[Paged | None], Shown] | None = None


def run_job(folder: Folder, wish: Wish, take: str = "", stage: Stage | None = None) -> int:
    """Go on with a job where it stands, or with the unit `take`; return the exit status over all its units.

    UsageError for wishes that contradict the job; JobError where another program is at work on it, or it has no such
    unit.
    """
    given = [f"--{name.strip('_').replace('_', '-')}" for name in REFUSED if getattr(wish, name)]
    if given:
        raise UsageError(
            "a job says this itself", where=", ".join(given), hint="its units are in job.toml; --take TAG goes to one"
        )
    with held(folder):
        remember_job(folder)
        wanted = folder.job.unit(take).tag if take else ""
        states = job_states(folder)
        for trouble in (each for state in states for each in state.troubles):
            tell(trouble)
        tag = wanted or on_mat(folder, states)
        if not tag:
            tell("nothing of this job is open; --take TAG goes through a unit's uncertain verdicts again")
            return 0 if all(state.good for state in states) else 1
        page = second_screen(wish.web, wish.web_words, folders=picture_folders(None, folder.path), photos=folder.path)
        return _Run(folder, wish, states, stage, page).run(tag)


class _Unit(msgspec.Struct):
    """One unit while the program runs: what it was left as, and when that session began, by the program's clock."""

    unit: JobUnit
    played: Played | None
    fold: Fold | None
    session: Session | None = None
    origin_s: float | None = None
    """None: it was on the mat in an earlier run of the program, or never."""


class _Run:
    """One run of the program on a job."""

    def __init__(
        self, folder: Folder, wish: Wish, states: tuple[UnitState, ...], stage: Stage | None, page: Paged | None
    ) -> None:
        self._folder = folder
        self._stage = stage
        self._page = page
        self._wish = wish
        self._nearby = Nearby(folder, wish.jobs, alone=stage is not None)
        self._only = step_ids(wish.steps)
        plan = self._plan_for(None)
        self._source: Source
        self._port, meter = wish.port or "", ""
        chosen = [step for step in plan.steps if not self._only or step.id in self._only]
        if stage is not None:
            self._profile = find_meter(wish.meter or "")
            if wish.rate is not None:
                self._profile = self._profile.at_rate(wish.rate)
            plan = self._plan_for(self._profile)
        elif any(step.wanted for step in chosen) or wish.port is not None or wish.meter is not None:
            found = meter_on(wish.port, wish.meter, tell)
            self._profile = found.profile if wish.rate is None else found.profile.at_rate(wish.rate)
            plan = self._plan_for(self._profile)
            self._port, meter = found.port, same_file(found.meter)
        else:
            self._profile = no_meter()
        self._plan = plan
        self._against: Rows = {} if wish.against is None else read_reference(wish.against, "", plan)
        self._units = {
            state.unit.tag: _Unit(
                state.unit,
                state.last,
                None if state.last is None else state.last.fold,
                None if state.last is None else state.last.session,
            )
            for state in states
        }
        self._clock = ScaledClock() if stage is None else stage.clock
        self._source = open_link(self._port, self._profile) if self._port else NoMeter()
        self._conversion_s = kept_rates(self._profile.name, self._port, tell) if self._port else {}
        self._null: Nulled | None = None
        self._writers: list[Writer] = []
        self._keep = Keep()
        self._tag = ""
        if self._port and stage is None:
            remember(port=self._port, meter=meter)

    def _plan_for(self, profile: MeterProfile | None) -> Plan:
        # A reference may be born in the middle of a job; the session asks for it where it is needed.
        good = any(unit.known_good for unit in self._folder.job.units)
        path, no_safe = str(self._folder.plan_path), self._wish.no_safe
        return checked_plan(path, profile, no_safe=no_safe, only=self._only, warn=not good)

    def run(self, tag: str) -> int:
        """Run sessions until the program ends; return the exit status."""
        wish = self._wish
        try:
            record = self._begin(tag)
        except BaseException:
            self._source.stop()
            raise
        stage = self._stage
        sound, linger_s = (True, 0.0) if stage is None else (stage.sound, stage.linger_s)
        plain = wish.plain or (stage is not None and stage.play is not None)
        if stage is not None and stage.show is not None:
            shown = stage.show(self._page)
        else:
            shown = shown_by(
                as_json=wish.as_json,
                plain=plain,
                sound=sound,
                linger_s=linger_s,
                pictures=picture_folders(None, self._folder.path) if wish.pictures else (),
                page=self._page,
            )
        try:
            if stage is not None and stage.play is not None:
                reason = stage.play(
                    Driver(self._session),
                    decoder(record.meter),
                    record.meter,
                    [self._keep, *shown.observers],
                    self._writers[-1],
                    after_parking=self._following,
                )
            else:
                reason = run_live(
                    self._session,
                    record,
                    self._source,
                    self._clock,
                    self._writers[-1],
                    shown,
                    observers=[self._keep, *(stage.observers if stage is not None else ())],
                    words=() if stage is None else stage.words,
                    after_parking=self._following,
                )
        finally:
            self._left()
            shown.close()
            for writer in self._writers:
                rescue(writer)
            if stage is None:
                keep_rates(self._profile.name, self._port, self._session.measured_s)
        if not wish.as_json:
            with contextlib.suppress(OSError):  # nobody reads any more; the journals have it all
                self._print_closing()
        good = all(each.fold is not None and each.fold.exit_status == 0 for each in self._units.values())
        return INTERRUPTED if reason == "interrupted" else 0 if good else 1

    # --- from unit to unit

    @property
    def _session(self) -> Session:
        session = self._units[self._tag].session
        assert session is not None
        return session

    def _following(self) -> Following:
        """Put the unit on the mat aside, and begin the session of the one that was taken."""
        tag = self._session.seat.taken
        self._left()
        self._begin(tag)
        origin_s = self._units[tag].origin_s
        assert origin_s is not None
        return Following(Driver(self._session), self._writers[-1], origin_s)

    def _left(self) -> None:
        """The session of the unit on the mat is over."""
        if not self._tag:
            return
        unit = self._units[self._tag]
        unit.fold = self._keep.fold
        session = self._session
        self._conversion_s = {**self._conversion_s, **session.measured_s}
        null = nulled(session, self._id_of(unit))
        if null.leads:
            self._null = null

    def _begin(self, tag: str) -> SessionRecord:
        """Make the next session of a unit, with its journal."""
        unit = self._units[tag]
        now = datetime.datetime.now(datetime.UTC)
        origin_s = self._clock.now_s()
        lefts = {each: self._left_as(other, origin_s, now) for each, other in self._units.items()}
        others = {each: left for each, left in lefts.items() if left is not None and each != tag}
        steps = [step for step in self._plan.steps if not self._only or step.id in self._only]
        handed = taken_over(lefts[tag], steps, others, self._null)
        sitting = self._folder.free(tag)
        record = session_record(
            self._plan,
            self._profile,
            unit=self._folder.job.named(unit.unit),
            tag=tag,
            operator=self._wish.operator,
            known_good=unit.unit.known_good,
            identity=self._source.identity,
            reference=self._reference(tag),
            options=self._options(),
            inherited=handed.as_builtins(),
            conversion_s=self._conversion_s,
            job=InJob(self._folder.job.title, sitting.number, tuple(self._units), self._open(tag)),
            symptom=known(self._plan.steps, self._plan.symptoms, unit.unit.symptom, self._shop(unit.unit)),
            now=now,
        )
        session = Session(record)
        self._writers.append(_writer(sitting.path, record))
        unit.session, unit.origin_s, unit.fold = session, origin_s, None
        unit.played = None
        first, self._tag = not self._tag, tag
        if self._stage is not None:
            self._stage.sit(record, origin_s, 0.0 if first else origin_s)
        elif self._port:
            remember(journal=str(sitting.path.absolute()))
        return record

    def _shop(self, unit: JobUnit) -> Shop:
        """Return what other repairs teach about a unit that is about to be on the mat."""
        if unit.known_good or not self._plan.symptoms:
            return Shop()
        return self._nearby.shop(self._plan, unit.tag)

    def _open(self, tag: str) -> tuple[str, ...]:
        """Return the other units of which something is open."""
        units = ((each, unit.fold) for each, unit in self._units.items() if each != tag)
        return tuple(each for each, fold in units if fold is None or fold.open)

    def _options(self) -> dict[str, Any]:
        options: dict[str, Any] = {"port": self._port, "no_safe": self._wish.no_safe}
        if self._wish.rate is not None:
            options["rate"] = self._wish.rate
        if self._only:
            options["steps"] = self._only
        return options

    def _left_as(self, unit: _Unit, origin_s: float, now: datetime.datetime) -> Left | None:
        """Return how a unit was left, as seen by a session that begins now."""
        session, fold = unit.session, unit.fold
        if session is None or fold is None:
            return None
        if unit.origin_s is not None:
            return Left(session, self._id_of(unit), fold.verdicts, unit.origin_s - origin_s, here=True)
        assert unit.played is not None
        return Left(session, self._id_of(unit), fold.verdicts, -unit.played.age_s(now), here=False)

    @staticmethod
    def _id_of(unit: _Unit) -> str:
        return "" if unit.fold is None or unit.fold.session is None else unit.fold.session.id

    def _reference(self, tag: str) -> Rows:
        """Return the values of good units for one unit: of those in this job, else what --against gave."""
        units = [unit for each, unit in self._units.items() if each != tag]
        parts = [part for unit in units if (part := _good_values(unit)) is not None]
        if not parts:
            return self._against
        try:
            return {**self._against, **rows(combine(parts))}
        except MetercapError as error:
            tell(f"the good units of this job do not go together: {error.what}")
            return self._against

    def _print_closing(self) -> None:
        for path, (tag, unit) in zip(self._last_paths(), self._units.items(), strict=True):
            if unit.fold is None or path is None:
                click.echo(f"\n{visible(tag)}: not begun")
            else:
                click.echo(f"\n{visible(tag)}")
                print_closing(unit.fold, path)

    def _last_paths(self) -> list[Path | None]:
        found = [self._folder.of(tag) for tag in self._units]
        return [sittings[-1].path if sittings else None for sittings in found]


def _good_values(unit: _Unit) -> Reference | None:
    """Return what a unit lets others expect: all of one that is good, of another the steps it was called good for."""
    fold, session = unit.fold, unit.session
    if fold is None or session is None or fold.session is None or fold.plan is None:
        return None
    good_for = session.bench.good_for
    if not unit.unit.known_good and not good_for:
        return None
    verdicts = fold.verdicts
    if not unit.unit.known_good:
        verdicts = {key: verdict for key, verdict in verdicts.items() if key[0] in good_for}
    first = msgspec.structs.replace(fold.session, known_good=True)
    known = {key: judgement_of(verdict, first.meter) for key, verdict in verdicts.items()}
    judged = {key: each for key, each in known.items() if each is not None}
    return of_session(first, verdicts, judged, places_of(fold.plan, verdicts))


def _writer(path: Path, record: SessionRecord) -> Writer:
    """Create a journal; where its folder takes none, in one that does, where the reader finds it by its own name."""
    try:
        return Writer.create(path, record)
    except JournalError as error:
        for folder in folders(path)[1:]:
            for name in names(path, folder):
                with contextlib.suppress(JournalError):
                    writer = Writer.create(name, record)
                    tell(f"{path}: {error.what}; it is written as {name}, which belongs there under that name")
                    return writer
        raise
