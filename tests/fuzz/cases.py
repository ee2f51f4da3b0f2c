"""Odd command lines and odd files, drawn from a seed."""

from __future__ import annotations

import random
import sqlite3
from dataclasses import dataclass, field
from pathlib import Path

from tests.fuzz.newer import ODD, ON_FILES, damaged_unit

SECRET = "Q" * 200
"""Stands in damaged files; no message may repeat more than 80 characters of it."""

SCENARIO = """based_on = "wet_leaf"
name = "fuzz"
title = "a short stop for odd inputs, invented"
initial_speed_mph = 9

[brake]
fill_delay_ms = 30

[sensing]
teeth = 90

[[rail.section]]
from_distance_m = -200
friction = 0.05
recovered_friction = 0.2
cleaning_work_kj_per_m = 10
friction_ratio = 0.4
friction_decay_s_per_m = 0.2
adhesion_reduction = 0.3
slip_reduction = 0.1

[[driver.handle]]
at_time_s = 0
position = 3
"""
WITH_PROFILE = SCENARIO + '\n[rail]\nprofile = "profile.csv"\n'
PROFILE = "distance_m,friction\n0,0.05\n50,0.08\n90,0.3\n"
WITH_LOG = 'based_on = "wet_leaf"\ninitial_speed_mph = 9\n[driver]\nlog = "log.csv"\n'
LOG = "time_s,position\n0,1\n2.5,3\n"
WITH_CURVE = (
    SCENARIO.replace("friction_ratio = 0.4", "friction_ratio = 1.0")
    + '\n[contact]\nlaw = "measured"\nmeasured_curve = "curve.csv"\n'
)
CURVE = "creepage,adhesion\n0,0\n0.01,0.03\n0.1,0.05\n1,0.04\n"
LIMITS = """[[limit]]
name = "lock"
measure = "longest_lock"
unit = "s"
rails = "all"
document = "invented"
mark = "assumed"
reading = "none"
high = 9.0
"""
TUNED = """kind = "slipbench tuned settings"
strategy = "slip_band"
compile = true

[parameters]
fill_slip = 0.05
"""
STRATEGY = """from slipbench import Controller, Parameter


def update(observation, parameters, memory, command, signals):
    for i in range(len(command)):
        command[i, 0] = 0.0
        command[i, 1] = 1.0
    signals[0] = 0.0


CONTROLLER = Controller(
    name="own", title="fills", update=update,
    parameters=(Parameter("slip", 0.1, "-", 0.01, 0.5, "assumed"),),
)
"""

BODIES = (
    "raise BaseException('x')", "raise KeyError", "raise SystemExit", "command[99, 0] = 0.0",
    "command[:, 0] = float('nan')", "command[:, 1] = float('inf')", "command[:, 0] = 7",
    "memory[-1, 5] = 1", "print('words')", "observation[:] = 0", "parameters[0] = 9",
    "return 3", "1 / 0", "command.fill('x')", "import os; os._exit", "command[0] = [1, 2, 3]",
)  # fmt: skip
FIELDS = (
    ('name="own"', 'name="$a$b"'), ('name="own"', "name=7"), ('name="own"', 'name="=1+1"'),
    ('name="own"', f'name="{SECRET}"'), ('title="fills"', 'title="a\\x1b[2J"'),
    ("update=update", 'update=update, scope="vehicles"'), ("def update", "async def update"),
    ("update=update", 'update=update, actuator="x"'), ("update=update", "update=3"),
    ("update=update", "update=update, n_memory=10**30"), ("0.1,", "float('nan'),"),
    ("update=update", "update=update, observes='sample_time'"), ("Controller(", "dict("),
    ("from slipbench", "raise SystemExit(0)\nfrom slipbench"), ("CONTROLLER =", "OTHER ="),
    ("from slipbench", "class E(Exception):\n    def __str__(self): 1/0\nraise E\nfrom slipbench"),
)  # fmt: skip

FILES = {
    "scenario.toml": SCENARIO,
    "with_profile.toml": WITH_PROFILE,
    "profile.csv": PROFILE,
    "with_log.toml": WITH_LOG,
    "log.csv": LOG,
    "with_curve.toml": WITH_CURVE,
    "curve.csv": CURVE,
    "limits.toml": LIMITS,
    "tuned.toml": TUNED,
    "own.py": STRATEGY,
}
LEANS_ON = {"profile.csv": "with_profile.toml", "log.csv": "with_log.toml",
            "curve.csv": "with_curve.toml"}  # fmt: skip

TOKENS = (
    "1" + "0" * 5000, "0x" + "f" * 4000, "nan", "inf", "-1", "1e309", "true", '""', "[]", "{}",
    '"' + SECRET + '"', "[" * 400 + "]" * 400, '"a\\u0000b"', '"$x$ and $y"', '"\\u001b[2J"',
    "1979-05-27", "[1, [2]]", "{ value = 1 }", '"\u202e\u2028"', "-0.0", "1e-320", "9" * 18,
    '"=1+1"', ".".join(["a"] * 3000) + " = 1", "\x00", "\ufeff", '"' + "é" * 300 + '"',
)  # fmt: skip
WORDS = (
    "", " ", "nan", "-1", "0", "1e9", "75mph", "a,b", ":", "=", "x:y=z", "--", "-", ".", "..", "/",
    "/dev/zero", "/dev/full", "/proc/self/mem", "n" * 300, "a\x1b[2J", "$x$y$", "=cmd", "\udcff",
    "no/where.toml", "wet_leaf", "dry", "slip_band:fill_slip=5%", "slip_band:fill_slip=nan",
    "slip_band,slip_band", "none", "1" * 400, "0.01:0.1", "NaN:1", "é" * 130, "'", '"', "%s", "{0}",
)  # fmt: skip


@dataclass
class Case:
    """One command line in a folder of files.

    Attributes
    ----------
    argv : list of str
    files : dict        name to content; `pipe`, `folder`, `zero`, `loop`, `huge` or `locked` make
                        something else than a file of that name
    runs : bool         it may get as far as stops, so it may leave results
    """

    argv: list[str]
    files: dict[str, bytes] = field(default_factory=dict)
    special: dict[str, str] = field(default_factory=dict)


def damaged(text: str, draw: random.Random) -> bytes:
    """Return a file's text, changed in one to three places."""
    data = text.encode()
    for _ in range(draw.randint(1, 3)):
        data = _changed(data, draw)
    return data


def _changed(data: bytes, draw: random.Random) -> bytes:
    lines = data.split(b"\n")
    i = draw.randrange(len(lines))
    token = draw.choice(TOKENS).encode("utf-8", "surrogatepass")
    kind = draw.randrange(11)
    if kind == 0 and data:
        place = draw.randrange(len(data))
        return data[:place] + bytes([draw.randrange(256)]) + data[place + 1 :]
    if kind == 1:
        return data[: draw.randrange(len(data) + 1)]
    if kind == 2:
        del lines[i]
    elif kind == 3:
        lines.insert(i, lines[i])
    elif kind in (4, 5, 6) and b"=" in lines[i]:
        lines[i] = lines[i].partition(b"=")[0] + b"= " + token
    elif kind in (4, 5, 6) and b"," in lines[i]:
        cells = lines[i].split(b",")
        cells[draw.randrange(len(cells))] = token.strip(b'"')
        lines[i] = b",".join(cells)
    elif kind == 7:
        lines[i] = token
    elif kind == 8 and b"=" in lines[i]:
        lines[i] = draw.choice((SECRET, "x", "value", "name")).encode() + b" = 1"
    elif kind == 9:
        place = draw.randrange(len(data) + 1)
        return data[:place] + bytes(draw.randrange(256) for _ in range(8)) + data[place:]
    elif kind == 10:
        lines = lines * draw.choice((2, 50))
    return b"\n".join(lines)


def command_on(name: str, draw: random.Random) -> list[str]:
    """Return a command line that reads one of `FILES`."""
    if name == "limits.toml":
        return ["assess", "scenario.toml", "--strategy", "none", "--quick", "--limits", name,
                "--out", "out"]  # fmt: skip
    if name in ("own.py", "tuned.toml"):
        written = name if name == "tuned.toml" else draw.choice((name, f"{name}:CONTROLLER"))
        more = ["--compile"] if name == "own.py" and draw.random() < 0.1 else []
        return draw.choice((
            ["stop", "scenario.toml", "--strategy", written, *more],
            ["compare", "scenario.toml", "--strategy", f"{written},none", "--workers", "1",
             "--out", "out", *more],
            ["campaign", "scenario.toml", "--strategy", written, "--workers", "1", "--quiet",
             "--out", "c.sqlite", "--export", "e.csv", *more],
        ))  # fmt: skip
    return draw.choice((
        ["show", name],
        ["stop", name, "--strategy", draw.choice(("none", "slip_band"))],
        ["campaign", name, "--strategy", "none", "--workers", "1", "--quiet", "--out", "c.sqlite"],
        ["creep", name, "--out", "out"],
        ["show", "dry", "--rail", name],
    ))  # fmt: skip


def odd_line(draw: random.Random) -> list[str]:
    """Return a command line with odd words in odd places."""
    lines: tuple[list[str], ...] = (
        ["stop", "dry", "--strategy", "none", "--speed", "9mph", "--seed", "1"],
        ["show", "dry"],
        ["compare", "dry", "--strategy", "none", "--speed", "9mph", "--seeds", "1", "--workers",
         "1", "--out", "out"],
        ["campaign", "dry", "--strategy", "none", "--speed", "9mph", "--workers", "1", "--quiet",
         "--out", "c.sqlite", "--export", "e.csv", "--branch", "main", "--vary",
         "rail.sections.0.friction=0.1:0.2", "--points", "2"],
        ["tune", "dry", "--strategy", "slip_band", "--budget", "20", "--out", "t.sqlite", "--start",
         "midpoints", "--parameters", "fill_slip"],
        ["tune-all", "dry", "--strategy", "none", "--budget", "20", "--out", "folder"],
        ["sensitivity", "dry", "--strategy", "none", "--size", "2", "--vary", "x=1:2"],
        ["worst-rail", "dry", "--strategy", "none", "--budget", "5", "--to", "w.toml", "--friction",
         "0.1:0.2", "--lengths", "20:30"],
        ["assess", "dry", "--strategy", "none", "--seeds", "0", "--out", "out"],
        ["report", "out"], ["backup", "c.sqlite", "--to", "d.sqlite"],
        ["mend", "c.sqlite", "--to", "d.sqlite"], ["check-strategy", "own.py", "--seed", "-1"],
        ["picture", "dry", "--speed", "x", "--out", "out"], ["playback", "dry", "--seed", "x"],
        ["conditioning", "dry", "--speed", "-1mph"], ["creep", "dry", "--speed", "9mph"],
        ["list"], ["native"], ["guide", "nothing"], ["experiment", "nothing"],
    )  # fmt: skip
    return odd_words(draw.choice(lines), draw)


def odd_words(line: list[str], draw: random.Random) -> list[str]:
    """Return a command line with words put in, left out or changed."""
    argv = list(line)
    for _ in range(draw.randint(1, 3)):
        kind = draw.randrange(4)
        place = draw.randrange(len(argv) + 1)
        if kind == 0:
            argv.insert(place, draw.choice(WORDS))
        elif kind == 1 and len(argv) > 1:
            del argv[draw.randrange(len(argv))]
        elif len(argv) > 1:
            argv[draw.randrange(1, len(argv))] = draw.choice(WORDS)
    return argv


def damaged_store(content: bytes, draw: random.Random) -> bytes:
    """Return a campaign file with flipped bits, a hole, or an end that is missing."""
    data = bytearray(content)
    kind = draw.randrange(3)
    if kind == 0:
        for _ in range(draw.randint(1, 40)):
            bit = draw.randrange(8 * len(data))
            data[bit // 8] ^= 1 << bit % 8
    elif kind == 1:
        place = draw.randrange(len(data))
        data[place : place + draw.randint(1, 5000)] = bytes(draw.randint(0, 5000))
    else:
        del data[draw.randrange(len(data)) :]
    return bytes(data)


STATEMENTS = (
    "UPDATE stop SET summary = '{\"a\": 1}'", "UPDATE stop SET summary = x'00ff'",
    "UPDATE stop SET summary = replace(hex(zeroblob(50000)), '00', '[')",
    "UPDATE stop SET seed = 'x'", "UPDATE stop SET parameters = 3", "UPDATE machine SET text = '{'",
    "UPDATE scenario SET text = 'x'", "UPDATE branch SET versions = '[]'",
    "UPDATE branch SET name = 7", "UPDATE slot SET hash = 1", "DROP TABLE stop",
    "ALTER TABLE stop RENAME COLUMN summary TO sum", "DELETE FROM branch",
    "UPDATE stop SET duration = 1e400", "DELETE FROM machine", "PRAGMA user_version = 9",
)  # fmt: skip


def changed_store(path: Path, draw: random.Random) -> None:
    """Change a campaign file as somebody with a database program would."""
    database = sqlite3.connect(path)
    database.execute(draw.choice(STATEMENTS))
    database.commit()
    database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    database.close()


@dataclass(frozen=True)
class Sound:
    """Files in order, which cases damage.

    Attributes
    ----------
    store : bytes    a campaign file
    record : dict    a folder as `slipbench compare` left it
    newer : dict     what `tests.fuzz.newer` reads, by name
    """

    store: bytes
    record: dict[str, bytes]
    newer: dict[str, bytes]


def newer_case(sound: Sound, draw: random.Random) -> Case:
    """Return a case of the commands for own files, measured stops, lessons, routes and units."""
    files = {name: text.encode() for name, text in FILES.items()} | sound.newer
    kind = draw.random()
    if kind < 0.5:
        name = draw.choice(list(ON_FILES))
        files[name] = damaged(files[name].decode(), draw)
        return Case(list(draw.choice(ON_FILES[name])), files)
    if kind < 0.6:
        files["unit.fmu"] = damaged_unit(files["unit.fmu"], draw)
        return Case(list(draw.choice(ON_FILES["unit.map.toml"])), files)
    if kind < 0.7:
        name = draw.choice([*ON_FILES, "unit.fmu"])
        what = draw.choice(("pipe", "folder", "zero", "loop", "huge", "locked", "empty", "missing"))
        line = ON_FILES.get(name, ON_FILES["unit.map.toml"])
        return Case(list(draw.choice(line)), files, {name: what})
    argv = odd_words(draw.choice(ODD), draw)
    if draw.random() < 0.1:  # one that would open a desk prints its table instead
        words = ["practice", draw.choice(WORDS), "--port", draw.choice(WORDS), "--out", "out"]
        argv = [*odd_words(words, draw), "--table"]
    return Case(argv, files)


def case_of(seed: int, base: Sound) -> Case:
    """Return the case of a seed."""
    draw = random.Random(seed)
    if draw.random() < 0.4:
        return newer_case(base, draw)
    store, record = base.store, base.record
    sound = {name: text.encode() for name, text in FILES.items()}
    kind = draw.random()
    if kind < 0.45:
        name = draw.choice(list(FILES))
        files = sound | {name: damaged(FILES[name], draw)}
        if name == "own.py" and draw.random() < 0.7:
            text = STRATEGY
            if draw.random() < 0.5:
                text = text.replace("signals[0] = 0.0", draw.choice(BODIES))
            else:
                text = text.replace(*draw.choice(FIELDS))
            files[name] = text.encode()
        return Case(command_on(LEANS_ON.get(name, name), draw), files)
    if kind < 0.55:
        name = draw.choice([*FILES, "c.sqlite", "own.so"])
        what = draw.choice(("pipe", "folder", "zero", "loop", "huge", "locked", "empty", "missing"))
        argv = ["stop", "scenario.toml", "--strategy", "own.so"]
        if name == "c.sqlite":
            argv = [draw.choice(("backup", "mend")), name, "--to", "d.sqlite"]
            if draw.random() < 0.5:
                argv = ["campaign", "scenario.toml", "--strategy", "none", "--out", name]
        elif name in FILES:
            argv = command_on(LEANS_ON.get(name, name), draw)
        return Case(argv, sound, {name: what})
    if kind < 0.65:
        argv = draw.choice((
            ["mend", "c.sqlite", "--to", "d.sqlite"], ["backup", "c.sqlite", "--to", "d.sqlite"],
            ["campaign", "scenario.toml", "--strategy", "none", "--workers", "1", "--quiet",
             "--out", "c.sqlite", "--export", "e.csv"],
        ))  # fmt: skip
        special = {} if draw.random() < 0.6 else {"c.sqlite": "sql"}
        files = sound | {"c.sqlite": store if special else damaged_store(store, draw)}
        return Case(argv, files, special)
    if kind < 0.72:
        name = draw.choice(list(record))
        text = record[name].decode("utf-8", "replace")
        files = {f"out/{one}": data for one, data in record.items()}
        files[f"out/{name}"] = damaged(text, draw)
        argv = draw.choice((["report", "out"], ["report", "out", "--question", "why"]))
        return Case(argv, files)
    if kind < 0.78:
        names = ("w.toml", "e.csv", "t.png", "t.toml", "out/compare.csv", "out", "c.sqlite.lock")
        files = sound | {draw.choice(names): b"mine, and precious"}
        return Case(odd_line(draw) if draw.random() < 0.3 else draw.choice((
            ["worst-rail", "scenario.toml", "--strategy", "none", "--budget", "13", "--patches",
             "1", "--workers", "1", "--quiet", "--to", "w.toml", "--out", "c.sqlite"],
            ["worst-rail", "scenario.toml", "--strategy", "none", "--budget", "13", "--to",
             "scenario.toml", "--out", "c.sqlite"],
            ["campaign", "scenario.toml", "--strategy", "none", "--workers", "1", "--quiet",
             "--out", "c.sqlite", "--export", "e.csv"],
            ["tune", "scenario.toml", "--strategy", "slip_band", "--budget", "100", "--training",
             "2", "--held-out", "2", "--workers", "1", "--quiet", "--out", "t.sqlite"],
            ["compare", "scenario.toml", "--strategy", "none", "--workers", "1", "--out", "out"],
        )), files)  # fmt: skip
    return Case(odd_line(draw), sound)
