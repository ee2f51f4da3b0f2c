"""A measured creep curve read from a CSV file."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from slipbench.ground.csv_rows import csv_rows
from slipbench.ground.errors import InputError
from slipbench.ground.telling import shown

FloatArray = NDArray[np.float64]

SPEED_COLUMNS = {"speed_ms": 1.0, "speed_kmh": 1.0 / 3.6, "speed_mph": 0.44704}
"""Allowed speed columns, the unit in the header, and their factor to m/s."""

_REQUIRED = ("creepage", "adhesion")


@dataclass(frozen=True)
class MeasuredCurve:
    """Adhesion against creepage, at one speed or several.

    Attributes
    ----------
    name : str                                        Where the curve comes from.
    train_speeds : (n_speeds,) float64                Rising speeds; one NaN if none given. [m/s]
    creepages : tuple of (n_points,) float64          Rising creepages of each speed, from 0. [-]
    adhesions : tuple of (n_points,) float64          Adhesion of each, 0 at creepage 0. [-]

    Notes
    -----
    Linear between points, constant past the last creepage and outside the speeds measured; no
    smoothing.
    """

    name: str
    train_speeds: FloatArray
    creepages: tuple[FloatArray, ...]
    adhesions: tuple[FloatArray, ...]

    def adhesion(self, creepage: ArrayLike, train_speed: float | None = None) -> FloatArray:
        """Return the adhesion at a creepage, linear between points and between speeds.

        Parameters
        ----------
        creepage : (...,) float          [-], either sign
        train_speed : float, optional    Needed when the curve has several speeds. [m/s]

        Returns
        -------
        (...,) float64   Signed like the creepage. [-]

        Raises
        ------
        InputError
            If the curve has several speeds and none is given.
        """
        xi = np.asarray(creepage, dtype=np.float64)
        rows = [
            np.interp(np.abs(xi), x, f) for x, f in zip(self.creepages, self.adhesions, strict=True)
        ]
        lower, share = self._speed_place(train_speed)
        upper = min(lower + 1, len(rows) - 1)
        return np.sign(xi) * ((1.0 - share) * rows[lower] + share * rows[upper])

    def peak(self, train_speed: float | None = None) -> float:
        """Return the largest adhesion at a speed. [-].

        Raises
        ------
        InputError
            If the curve has several speeds and none is given.
        """
        nodes = np.concatenate(self.creepages)
        return float(np.max(self.adhesion(nodes, train_speed)))

    def initial_slope(self, train_speed: float | None = None) -> float:
        """Return adhesion over creepage up to the first measured point. [-].

        Raises
        ------
        InputError
            If the curve has several speeds and none is given.
        """
        first = min(float(x[1]) for x in self.creepages)
        return float(self.adhesion(first, train_speed)) / first

    def _speed_place(self, train_speed: float | None) -> tuple[int, float]:
        """Return the lower speed's index and the share of the next one."""
        speeds = self.train_speeds
        if len(speeds) == 1:
            return 0, 0.0
        if train_speed is None or not math.isfinite(train_speed):
            raise InputError(
                f"train_speed = {train_speed!r} m/s: {self.name} holds {len(speeds)} speeds, "
                "give a finite one"
            )
        inside = min(max(train_speed, float(speeds[0])), float(speeds[-1]))
        lower = min(int(np.searchsorted(speeds, inside, side="right")) - 1, len(speeds) - 2)
        return lower, float((inside - speeds[lower]) / (speeds[lower + 1] - speeds[lower]))


def read_measured_curve(path: str | Path) -> MeasuredCurve:
    """Read a measured creep curve from a CSV file.

    Parameters
    ----------
    path : str or Path   File with a header line naming the columns `creepage` [-] and `adhesion`
        [-] and, if wanted, one speed column: `speed_kmh`, `speed_mph` or `speed_ms`.  Blank lines
        and lines starting with # are skipped.  Within one speed creepage rises from line to line;
        the point (0, 0) may be left out.

    Returns
    -------
    MeasuredCurve

    Raises
    ------
    InputError
        If the file cannot be read or used: one line with the file, line and column.
    """
    source = Path(path)
    lines = csv_rows(source, "a measured curve")
    if not lines:
        raise InputError(f"{source}: the file is empty; needed are columns creepage, adhesion")
    header_line, header = lines[0]
    names = [name.strip() for name in header]
    speed_column = _check_header(source, header_line, names)
    by_speed: dict[float, list[tuple[float, float]]] = {}
    for line, fields in lines[1:]:
        if len(fields) != len(names):
            raise InputError(
                f"{source}, line {line}: {len(fields)} columns, the header has {len(names)}"
            )
        row = {
            name: _number(source, line, name, text)
            for name, text in zip(names, fields, strict=True)
        }
        speed = row[speed_column] * SPEED_COLUMNS[speed_column] if speed_column else math.nan
        # All NaNs are different keys, so a file without speed needs one key of its own.
        points = by_speed.setdefault(-1.0 if math.isnan(speed) else speed, [])
        points.append(_next_point(source, line, row, points))
    if not by_speed:
        raise InputError(f"{source}, line {header_line}: no data below the header")
    return _build_curve(source, by_speed, speed_column is not None)


def _check_header(source: Path, line: int, names: list[str]) -> str | None:
    """Return the name of the speed column, or None; refuse any other header."""
    for name in _REQUIRED:
        if name not in names:
            raise InputError(f"{source}, line {line}: column {name!r} is missing from the header")
    allowed = (*_REQUIRED, *SPEED_COLUMNS)
    for name in names:
        if name not in allowed:
            raise InputError(
                f"{source}, line {line}: column {shown(name)} is not known; allowed: "
                + ", ".join(allowed)
            )
        if names.count(name) > 1:
            raise InputError(f"{source}, line {line}: column {shown(name)} appears more than once")
    speeds = [name for name in names if name in SPEED_COLUMNS]
    if len(speeds) > 1:
        raise InputError(
            f"{source}, line {line}: column {speeds[1]!r} is a second speed column, one is allowed"
        )
    return speeds[0] if speeds else None


def _number(source: Path, line: int, column: str, text: str) -> float:
    """Return one field as a number in its allowed range."""
    where = f"{source}, line {line}, column {column}: {shown(text.strip())}"
    try:
        value = float(text)
    except ValueError:
        raise InputError(f"{where} is not a number") from None
    if not math.isfinite(value):
        raise InputError(f"{where} is not a finite number")
    if value < 0.0 or (column not in SPEED_COLUMNS and value > 1.0):
        unit = column.split("_")[1] if column in SPEED_COLUMNS else "-"
        allowed = "at least 0" if column in SPEED_COLUMNS else "from 0 to 1"
        raise InputError(f"{where} [{unit}] is out of range; allowed: {allowed}")
    return value


def _next_point(
    source: Path, line: int, row: dict[str, float], points: list[tuple[float, float]]
) -> tuple[float, float]:
    """Return a row's point, refusing one that does not follow the points before it."""
    creepage, adhesion = row["creepage"], row["adhesion"]
    if points and creepage <= points[-1][0]:
        raise InputError(
            f"{source}, line {line}, column creepage: {creepage!r} does not rise above "
            f"{points[-1][0]!r}, the value before it at the same speed"
        )
    if (creepage == 0.0) != (adhesion == 0.0):
        raise InputError(
            f"{source}, line {line}, column adhesion: {adhesion!r} at creepage {creepage!r}; "
            "adhesion is 0 at creepage 0 and above 0 elsewhere"
        )
    return creepage, adhesion


def _build_curve(
    source: Path, by_speed: dict[float, list[tuple[float, float]]], has_speed: bool
) -> MeasuredCurve:
    """Return the curve, speeds rising, each with the point (0, 0) in front."""
    creepages, adhesions = [], []
    for speed in sorted(by_speed):
        points = [point for point in by_speed[speed] if point[0] > 0.0]
        if len(points) < 2:
            at = f" at speed {speed:.6g} m/s" if has_speed else ""
            raise InputError(
                f"{source}: {len(points)} points with creepage above 0{at}; at least 2 are needed"
            )
        creepages.append(np.array([0.0, *(x for x, _ in points)]))
        adhesions.append(np.array([0.0, *(f for _, f in points)]))
    speeds = np.array(sorted(by_speed)) if has_speed else np.array([math.nan])
    return MeasuredCurve(source.name, speeds, tuple(creepages), tuple(adhesions))


def measured_traction_ratio(
    normalised_creepage: ArrayLike, *, curve: MeasuredCurve, train_speed: float | None = None
) -> FloatArray:
    """Return the measured curve as F/(mu N) against tau, scaled by its own slope and peak.

    Parameters
    ----------
    normalised_creepage : (...,) float   tau. [-], either sign
    curve : MeasuredCurve                The curve.
    train_speed : float, optional        Needed when the curve has several speeds. [m/s]

    Returns
    -------
    (...,) float64   Signed like tau; peak 1, initial slope 1. [-]

    Raises
    ------
    InputError
        If the curve has several speeds and no speed is given.

    Notes
    -----
    mu is the curve's peak and the creep stiffness its slope up to the first point, so that it
    can be laid over the other laws.  For its own values in its own creepage use
    `MeasuredCurve.adhesion`.
    """
    tau = np.asarray(normalised_creepage, dtype=np.float64)
    peak = curve.peak(train_speed)
    return curve.adhesion(tau * peak / curve.initial_slope(train_speed), train_speed) / peak
