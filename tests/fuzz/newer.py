"""Odd lines for the commands of own files, measured stops, lessons, routes and FMI units."""

from __future__ import annotations

import io
import random
import zipfile
from importlib.resources import files as package_files
from pathlib import Path

SOUND_LINES = (
    ["new", "train", "own_train.toml"], ["new", "rail", "own_rail.toml"],
    ["new", "driver", "own_driver.toml"], ["new", "scenario", "own_scenario.toml"],
    ["stop", "scenario.toml", "--strategy", "none", "--log", "stop.csv"],
    ["log", "stop.csv", "--guess", "map.toml"],
    ["export-fmu", "--strategy", "slip_band", "unit.fmu", "--axles", "2", "--seeds", "1"],
    ["fmu", "unit.fmu", "--guess", "unit.map.toml"],
)  # fmt: skip
"""What makes the files that these lines read, run once in a folder with `scenario.toml`."""

COMPILING_LINES = (
    ["stop", "scenario.toml", "--strategy", "unit.fmu"],
    ["export-fmu", "scenario.toml", "x.fmu"],
    ["log", "stop.csv", "--train", "scenario.toml", "--out", "out-log"],
    ["reproduce", "stop.csv", "--train", "scenario.toml", "--rail", "scenario.toml", "--out",
     "out-reproduce"],
)  # fmt: skip
"""What has parts of its own compiled, which a case is not to wait for."""

GRADIENT = "distance_m,rise_permille\n0,2\n100,-3\n400,0\n"
ON_FILES: dict[str, tuple[list[str], ...]] = {
    "own_train.toml": (
        ["check", "own_train.toml", "--out", "out"],
        ["show", "dry", "--train", "own_train.toml"],
        ["stop", "scenario.toml", "--strategy", "none", "--train", "own_train.toml"],
        ["export-fmu", "scenario.toml", "x.fmu", "--train", "own_train.toml"],
    ),
    "own_rail.toml": (
        ["check", "own_rail.toml", "--out", "out"],
        ["stop", "scenario.toml", "--strategy", "none", "--rail", "own_rail.toml"],
        ["reproduce", "stop.csv", "--train", "scenario.toml", "--rail", "own_rail.toml",
         "--out", "out"],
    ),
    "own_driver.toml": (
        ["check", "own_driver.toml", "--out", "out"],
        ["stop", "scenario.toml", "--strategy", "none", "--driver", "own_driver.toml"],
        ["playback", "scenario.toml", "--drivers", "held,own_driver.toml", "--out", "out"],
    ),
    "own_scenario.toml": (
        ["check", "own_scenario.toml", "--out", "out"], ["show", "own_scenario.toml"],
        ["sweep", "brake.emergency=1.0m/s2:1.2m/s2:2", "own_scenario.toml", "--strategy", "none",
         "--speed", "9mph", "--seeds", "1", "--workers", "1", "--out", "out"],
    ),
    "stop.csv": (
        ["log", "stop.csv", "--train", "scenario.toml", "--out", "out"],
        ["log", "stop.csv", "--map", "map.toml", "--out", "out"],
        ["log", "stop.csv", "--guess", "new.toml"],
        ["reproduce", "stop.csv", "--train", "scenario.toml", "--rail", "scenario.toml",
         "--out", "out"],
    ),
    "map.toml": (["log", "stop.csv", "--map", "map.toml", "--train", "scenario.toml",
                  "--out", "out"],),
    "gradient.csv": (["log", "stop.csv", "--train", "scenario.toml", "--gradient", "gradient.csv",
                      "--out", "out"],),
    "lesson.toml": (["lesson", "lesson.toml"], ["lesson", "lesson.toml", "--handout", "h.html"]),
    "route.toml": (["route", "route.toml", "--draws", "1", "--workers", "1", "--quiet",
                    "--out", "out"],),
    "elderwick-gradient.csv": (["route", "route.toml", "--draws", "1", "--workers", "1", "--quiet",
                                "--out", "out"],),
    "unit.map.toml": (["fmu", "unit.fmu"], ["stop", "scenario.toml", "--strategy", "unit.fmu"]),
}  # fmt: skip
"""Lines that read a file, by the file that is damaged."""

ODD: tuple[list[str], ...] = (
    ["new", "train", "x.toml"], ["new", "strategy", "x.py"], ["keys", "brake"], ["keys"],
    ["check", "scenario.toml", "--out", "out"],
    ["sweep", "brake.emergency=1:1.2:2", "scenario.toml", "--strategy", "none", "--seeds", "1",
     "--workers", "1", "--out", "out"],
    ["sweep", "train.load=0:100%:2", "scenario.toml", "--strategy", "none", "--seeds", "1",
     "--workers", "1", "--out", "out"],
    ["log", "stop.csv", "--train", "scenario.toml", "--ignore", "handle", "--set", "train.load=0.4",
     "--out", "out"],
    ["reproduce", "stop.csv", "--train", "scenario.toml", "--rail", "scenario.toml", "--out",
     "out"],
    ["identify", "stop.csv", "--train", "scenario.toml", "--to", "scenario.toml"],
    ["whatif", "stop.csv", "--train", "scenario.toml", "--rail", "scenario.toml", "--strategy",
     "none", "--driver", "held", "--out", "out"],
    ["lesson", "holding", "--handout", "h.html"], ["lesson"],
    ["route", "nowhere", "--month", "November", "--redeposited", "30%", "--confidence", "90%",
     "--spread", "friction=10%", "--draws", "1", "--workers", "1", "--out", "out"],
    ["braking-points", "nowhere.toml", "--step", "2", "--gradient", "-1%,1%", "--top-speed",
     "75mph", "--state", "wet=wet", "--confidence", "90%", "--draws", "1", "--quick"],
    ["hold-or-ease", "nowhere.toml", "--strategy", "none", "--draws", "1", "--quick"],
    ["fmu", "unit.fmu", "--guess", "m.toml"],
    ["export-fmu", "scenario.toml", "x.fmu", "--fmi", "3"],
    ["export-fmu", "--strategy", "none", "x.fmu", "--axles", "2", "--seeds", "1"],
    ["overrun", "scenario.toml", "--strategy", "none", "--marker", "100m", "--reaction", "0s:1s",
     "--count", "2", "--vary", "train.load=0:0.2", "--workers", "1", "--quiet", "--out",
     "o.sqlite"],
    ["verdict", "scenario.toml", "--strategy", "none,slip_band", "--size", "2", "--nodes", "2",
     "--each", "1", "--workers", "1", "--quiet", "--out", "v.sqlite"],
    ["best-found", "nowhere"], ["completion", "bash"],
)  # fmt: skip
"""Lines of which words are changed; those of many stops name a file that is not there."""


def newer_files(folder: Path) -> dict[str, bytes]:
    """Return the files these lines read, those of `SOUND_LINES` as they lie in a folder."""
    package = package_files("slipbench")
    routes, lessons = package / "guidance/routes", package / "practice/lessons"
    found = {
        "gradient.csv": GRADIENT.encode(),
        "elderwick-gradient.csv": (routes / "elderwick-gradient.csv").read_bytes(),
        "route.toml": (routes / "elderwick.toml").read_bytes(),
        "lesson.toml": (lessons / "holding.toml").read_bytes(),
    }
    for path in (lessons / "scenarios").iterdir():
        found[f"scenarios/{path.name}"] = path.read_bytes()
    names = ("own_train.toml", "own_rail.toml", "own_driver.toml", "own_scenario.toml", "stop.csv",
             "map.toml", "unit.fmu", "unit.map.toml")  # fmt: skip
    return found | {name: (folder / name).read_bytes() for name in names}


def damaged_unit(content: bytes, draw: random.Random) -> bytes:
    """Return an FMI unit with damage to the archive, its description or its library."""
    if draw.random() < 0.3:
        data = bytearray(content)
        for _ in range(draw.randint(1, 20)):
            data[draw.randrange(len(data))] = draw.randrange(256)
        return bytes(data[: draw.randrange(len(data))] if draw.random() < 0.3 else data)
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            data = old.read(name)
            if name == "modelDescription.xml":
                data = _damaged_text(data, draw)
            elif draw.random() < 0.1:
                continue
            new.writestr(draw.choice(("../x", "/etc/x", name)) if draw.random() < 0.05 else name,
                         data)  # fmt: skip
    return out.getvalue()


def _damaged_text(data: bytes, draw: random.Random) -> bytes:
    words = (b'"', b"<", b">", b"&x;", b"1e999", b"nan", b"-1", b"]]>", b"\x00", b"Q" * 200)
    for _ in range(draw.randint(1, 3)):
        place = draw.randrange(len(data))
        kind = draw.randrange(3)
        if kind == 0:
            data = data[:place] + draw.choice(words) + data[place + draw.randint(0, 3) :]
        elif kind == 1:
            end = data.find(b'"', place)
            start = data.rfind(b'"', 0, end)
            data = data[: start + 1] + draw.choice(words) + data[end:] if start >= 0 else data
        else:
            data = data[:place] + data[place + draw.randint(1, 200) :]
    return data
