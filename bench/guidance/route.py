"""A route: stations, permitted speeds, gradient and places of poor rail, as its file gives them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

from slipbench.ground.csv_rows import csv_rows
from slipbench.ground.errors import InputError
from slipbench.ground.reading import is_there
from slipbench.ground.telling import nearest_text, quoted, shown
from slipbench.scenario import GradientSection, load_scenario, read_record
from slipbench.scenario.fields import (
    Record,
    choice,
    count,
    file_name,
    parts,
    quantity,
    record,
    text,
)
from slipbench.scenario.profile import finite_number

SHIPPED = Path(__file__).parent / "routes"
"""Routes that come with the bench, all invented."""

MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip

RISING, FALLING = "rising", "falling"
KINDS = ("cutting_with_trees", "level_crossing", "industrial_site", "first_train")
"""Kinds of places of poor rail; `first_train` is only there for the first of the day."""

MOST_STATIONS, MOST_PLACES = 60, 500
_FEWEST_STATIONS = 2
_CLOSE = 0.01
"""Ends that are nearer to each other than this are the same place. [m]"""


@record
class Limit(Record):
    """Permitted speed between two places of the line."""

    start: float = quantity("length", low=0.0, high=1e6, doc="Where it begins.")
    end: float = quantity("length", low=0.0, high=1e6, doc="Where it ends.")
    speed: float = quantity("speed", low=2.0, high=60.0, doc="Permitted speed.")


@record
class Station(Record):
    """A stop: platform, stopping marker, and the first signal beyond, if one is near."""

    name: str = text(doc="Name.")
    platform_start: float = quantity(
        "length", low=0.0, high=1e6, doc="The platform's end at the smaller distance."
    )
    platform_length: float = quantity("length", low=20.0, high=1000.0, doc="Its length.")
    marker: float = quantity("length", low=0.0, high=1e6, doc="Where the train's front stops.")
    signal: float | None = quantity(
        "length", low=0.0, high=1e6, default=None, doc="First signal beyond, in the direction run."
    )

    @property
    def platform_end(self) -> float:
        """The platform's end at the larger distance. [m]"""
        return self.platform_start + self.platform_length


@record
class PoorPlace(Record):
    """A place where the rail is poor at certain times of the year."""

    name: str = text(doc="Name.")
    start: float = quantity("length", low=0.0, high=1e6, doc="Where it begins.")
    end: float = quantity("length", low=0.0, high=1e6, doc="Where it ends.")
    kind: str = choice(*KINDS, doc="Why the rail is poor there.")
    months: str = text(doc='Months, such as "October to December" or "May, October"; or "all".')

    def check_together(self) -> None:
        """Check the ends and the months."""
        if self.end <= self.start:
            self.refuse("end", f"must lie beyond start, {self.start:g} m")
        try:
            months_of(self.months)
        except ValueError as problem:
            self.refuse("months", str(problem))

    def is_poor_in(self, month: str) -> bool:
        """Say whether it is poor in a month."""
        return month in months_of(self.months)


def months_of(text: str) -> tuple[str, ...]:
    """Return the months of a text; a range may run over the turn of the year.

    Raises
    ------
    ValueError   naming what is no month
    """
    if text.strip() == "all":
        return MONTHS
    found: list[str] = []
    for part in text.split(","):
        first, is_range, last = (word.strip() for word in part.partition(" to "))
        for word in (first, last) if is_range else (first,):
            if word not in MONTHS:
                raise ValueError(f"no month {shown(word)}; {nearest_text(word, MONTHS)}")
        start = MONTHS.index(first)
        count = (MONTHS.index(last) - start) % 12 + 1 if is_range else 1
        found += [MONTHS[(start + i) % 12] for i in range(count)]
    return tuple(month for month in MONTHS if month in found)


@record
class Route(Record):
    """A line as a driver learns it. Distances count along it from one end, in both directions."""

    name: str = text(doc="Name of the line.")
    direction: str = choice(RISING, FALLING, doc="Whether trains run towards larger distances.")
    length: float = quantity("length", above=0.0, high=1e6, doc="Length of the line.")
    scenario: str = text(doc="Scenario whose train, brake, equipment and driver run here.")
    normal_step: int = count(low=1, high=15, doc="Brake step of a stop on good rail.")
    top_speed: float = quantity("speed", low=2.0, high=60.0, doc="Top speed of the train.")
    acceleration: float = quantity(
        "acceleration",
        above=0.0,
        high=3.0,
        default=0.4,
        doc="Of the train when it leaves a station: mean up to line speed.",
        mark="assumed",
        source="no source; an electric unit's mean",
    )
    month: str = choice(*MONTHS, doc="Month the card is for.")
    gradient_file: str | None = file_name(
        default=None, doc="CSV of the gradient: distance_m and rise_permille, one row a change."
    )
    gradient: tuple[GradientSection, ...] = parts(
        GradientSection,
        key="gradient",
        default=(),
        min_items=0,
        max_items=10_000,
        doc="Gradients in order, in place of the file; level before the first.",
    )
    limits: tuple[Limit, ...] = parts(
        Limit, key="permitted_speed", max_items=200, doc="Permitted speeds, end to end."
    )
    stations: tuple[Station, ...] = parts(
        Station,
        key="station",
        min_items=_FEWEST_STATIONS,
        max_items=MOST_STATIONS,
        doc="Stations by growing distance; trains start at the one they come to first.",
    )
    poor_places: tuple[PoorPlace, ...] = parts(
        PoorPlace,
        key="poor_place",
        default=(),
        min_items=0,
        max_items=MOST_PLACES,
        doc="Places of poor rail, by growing distance.",
    )

    def check_together(self) -> None:
        """Check that the line has no gaps, and everything lies on it in its order."""
        if self.gradient_file is not None and self.gradient:
            self.refuse(
                "gradient_file", "the gradient comes from it or from [[gradient]], not both"
            )
        self._check_limits()
        self._check_stations()
        self._check_places()
        starts = [section.from_distance for section in self.gradient]
        self._check_rising("gradient", "from_distance", starts)

    def _check_limits(self) -> None:
        for i, limit in enumerate(self.limits):
            if limit.end <= limit.start:
                self.refuse(
                    f"limits.{i}.end", f"must lie beyond start, {limit.start:g} m", limit.end
                )
        if self.limits[0].start > _CLOSE:
            detail = "permitted speeds must begin at 0 m"
            self.refuse("limits.0.start", detail, self.limits[0].start)
        for i, (before, after) in enumerate(pairwise(self.limits), start=1):
            if after.start > before.end + _CLOSE:
                detail = f"leaves a gap from {before.end:g} m; permitted speeds must join"
                self.refuse(f"limits.{i}.start", detail, after.start)
            if after.start < before.end - _CLOSE:
                detail = f"overlaps the one before, which ends at {before.end:g} m"
                self.refuse(f"limits.{i}.start", detail, after.start)
        last = len(self.limits) - 1
        if abs(self.limits[last].end - self.length) > _CLOSE:
            detail = f"permitted speeds must reach the end of the line, {self.length:g} m"
            self.refuse(f"limits.{last}.end", detail, self.limits[last].end)

    def _check_stations(self) -> None:
        names: set[str] = set()
        for i, station in enumerate(self.stations):
            where = f"stations.{i}"
            low, high = station.platform_start, station.platform_end
            if high > self.length + _CLOSE:
                detail = f"the platform ends at {high:g} m, beyond the line's {self.length:g} m"
                self.refuse(f"{where}.platform_length", detail, station.platform_length)
            if not low - _CLOSE <= station.marker <= high + _CLOSE:
                detail = f"must lie at the platform, {low:g} to {high:g} m"
                self.refuse(f"{where}.marker", detail, station.marker)
            if station.signal is not None:
                self._check_signal(where, station)
            if station.name in names:
                self.refuse(f"{where}.name", "is given to two stations", station.name)
            names.add(station.name)
        for i, (before, after) in enumerate(pairwise(self.stations), start=1):
            if after.platform_start <= before.platform_end:
                detail = (
                    f"the platform overlaps that of {quoted(before.name)}, which ends at "
                    f"{before.platform_end:g} m, or comes before it"
                )
                self.refuse(f"stations.{i}.platform_start", detail, after.platform_start)

    def _check_signal(self, where: str, station: Station) -> None:
        assert station.signal is not None
        end = station.platform_end if self.direction == RISING else station.platform_start
        is_beyond = station.signal >= end if self.direction == RISING else station.signal <= end
        if not is_beyond or station.signal > self.length:
            way = "from" if self.direction == RISING else "up to"
            detail = f"must stand beyond the platform, {way} {end:g} m, and on the line"
            self.refuse(f"{where}.signal", detail, station.signal)

    def _check_places(self) -> None:
        for i, place in enumerate(self.poor_places):
            if place.end > self.length + _CLOSE:
                detail = f"lies beyond the end of the line, {self.length:g} m"
                self.refuse(f"poor_places.{i}.end", detail, place.end)
        for i, (before, after) in enumerate(pairwise(self.poor_places), start=1):
            if after.start < before.end - _CLOSE:
                detail = f"overlaps {quoted(before.name)}, which ends at {before.end:g} m"
                self.refuse(f"poor_places.{i}.start", detail, after.start)

    def _check_rising(self, name: str, key: str, starts: Sequence[float]) -> None:
        for i, (before, start) in enumerate(pairwise(starts), start=1):
            if start <= before:
                self.refuse(f"{name}.{i}.{key}", f"must lie beyond {before:g} m", start)


def shipped_routes() -> tuple[str, ...]:
    """Return the names of the routes that come with the bench."""
    return tuple(sorted(file.stem for file in SHIPPED.glob("*.toml")))


def read_route(name_or_path: str) -> Route:
    """Read a route: the name of a shipped one, or the path of a TOML file.

    Raises
    ------
    InputError   one line with file, key, value and what is allowed
    """
    if name_or_path in shipped_routes() and not is_there(name_or_path):
        path = SHIPPED / f"{name_or_path}.toml"
    elif not name_or_path.endswith(".toml") and not is_there(name_or_path):
        raise InputError(
            f"route {shown(name_or_path)}: no shipped route and no file of this name; "
            f"{nearest_text(name_or_path, shipped_routes())} (a path ends in .toml)"
        )
    else:
        path = Path(name_or_path)
    route = read_record(path, Route, "a route is a TOML file")
    try:
        brake = load_scenario(_beside(path, route.scenario)).brake
    except InputError as problem:
        raise InputError(f"{path}: scenario: {problem}") from problem
    if not 1 <= route.normal_step <= brake.n_steps:
        raise InputError(
            f"{path}: normal_step = {route.normal_step}: allowed: 1 to {brake.n_steps}, the steps "
            f"of the brake in {route.scenario}"
        )
    if route.gradient_file is not None:
        sections = gradient_from_csv(Path(route.gradient_file), route.length)
        route = replace(route, gradient_file=None, gradient=sections)
    return replace(route, scenario=_beside(path, route.scenario))


def _beside(path: Path, scenario: str) -> str:
    """Return a scenario as it is found: a shipped name, or a file beside the route's."""
    return str(path.parent / scenario) if scenario.endswith(".toml") else scenario


def gradient_from_csv(path: Path, length: float) -> tuple[GradientSection, ...]:
    """Read a gradient: columns `distance_m` and `rise_permille`, a row where it changes.

    Raises
    ------
    InputError   one line with file, line, column and what is allowed
    """
    rows = csv_rows(path, "a gradient")
    heads = ("distance_m", "rise_permille")
    if not rows or tuple(name.strip() for name in rows[0][1]) != heads:
        raise InputError(f"{path}: line 1: the header must be {','.join(heads)}")
    if len(rows) < 2:
        raise InputError(f"{path}: needs at least one row of {', '.join(heads)}")
    found: list[GradientSection] = []
    for line, row in rows[1:]:
        if len(row) != len(heads):
            raise InputError(f"{path}: line {line}: {len(row)} values, the header has {len(heads)}")
        place, rise = (
            finite_number(path, line, name, cell) for name, cell in zip(heads, row, strict=True)
        )
        if found and place <= found[-1].from_distance:
            raise InputError(
                f"{path}: line {line}: distance_m = {place:g} does not rise above that of the row "
                f"before, {found[-1].from_distance:g} m"
            )
        if not 0.0 <= place <= length:
            raise InputError(
                f"{path}: line {line}: distance_m = {place:g}; allowed: 0 to {length:g}, the line"
            )
        if abs(rise) > 100.0:
            raise InputError(f"{path}: line {line}: rise_permille = {rise:g}; allowed: -100 to 100")
        found.append(GradientSection(from_distance=place, rise=rise / 1000.0))
    if found[0].from_distance > 0.0:
        raise InputError(f"{path}: line {rows[1][0]}: the gradient must begin at 0 m")
    return tuple(found)


def running(route: Route) -> Route:
    """Return the route with distances counted in the direction trains run.

    What lay at x lies at length - x for trains that run towards smaller distances.
    """
    if route.direction == RISING:
        return route
    length = route.length
    stations = tuple(
        replace(
            station,
            platform_start=length - station.platform_end,
            marker=length - station.marker,
            signal=None if station.signal is None else length - station.signal,
        )
        for station in reversed(route.stations)
    )
    return replace(
        route,
        direction=RISING,
        limits=_turned(route.limits, length),
        stations=stations,
        poor_places=_turned(route.poor_places, length),
        gradient=_turned_gradient(route.gradient, length),
    )


def _turned(spans: Sequence, length: float) -> tuple:  # type: ignore[type-arg]
    return tuple(
        replace(span, start=length - span.end, end=length - span.start) for span in reversed(spans)
    )


def _turned_gradient(
    sections: Sequence[GradientSection], length: float
) -> tuple[GradientSection, ...]:
    if not sections:
        return ()
    ends = [*(section.from_distance for section in sections[1:]), length]
    turned = [
        GradientSection(from_distance=length - end, rise=-section.rise)
        for section, end in zip(sections, ends, strict=True)
        if end > section.from_distance
    ]
    first = sections[0].from_distance
    level = [GradientSection(from_distance=length - first, rise=0.0)] if first > 0.0 else []
    return (*reversed(turned), *level)
