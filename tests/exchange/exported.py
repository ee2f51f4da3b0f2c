"""Units written by the bench, unpacked, and the C host that runs them."""

import subprocess
from pathlib import Path
from typing import NamedTuple

from tests.exchange.units import SOURCES, compiler

from slipbench.exchange.archive import content_of, read_description, unpacked
from slipbench.exchange.binary import library_name
from slipbench.exchange.description import Description, parse_description
from slipbench.strategies.units.unit import digest_of


class Written(NamedTuple):
    path: Path
    description: Description
    library: Path

    def refs(self, base: str) -> list[int]:
        """Return the value references of a variable, by axle where it has several."""
        found = [
            v.reference
            for v in self.description.variables
            if v.name == base or v.name.startswith(f"{base}[")
        ]
        assert found, base
        return found


def written(path: Path, content: bytes) -> Written:
    path.write_bytes(content)
    description = parse_description(read_description(path), str(path))
    assert content_of(path) == content
    folder = unpacked(path, digest_of(path))
    return Written(path, description, folder / library_name(path, description))


def build_host(folder: Path, train: Written, control: Written | None, sizes: list[int]) -> Path:
    firsts = [sum(sizes[:i]) for i in range(len(sizes))]
    names = {
        "T_SPEED": (train, "measured_wheel_speed"),
        "T_DEMAND": (train, "brake_demand"),
        "T_VALVE": (train, "valve"),
        "T_FACTOR": (train, "demand_factor"),
        "T_SLIDE": (train, "slide"),
        "T_SEED": (train, "seed"),
        "T_NEXT": (train, "next_sample_time"),
        "T_SAMPLED": (train, "is_sampled"),
        "T_STATUS": (train, "truth.status"),
    }
    own = control or train
    names |= {
        "S_SPEED": (own, "measured_wheel_speed"),
        "S_DEMAND": (own, "brake_demand"),
        "S_VALVE": (own, "valve"),
        "S_FACTOR": (own, "demand_factor"),
        "S_SLIDE": (own, "slide"),
        "S_AXLES": (own, "n_axles" if control else "seed"),
    }
    sees_pressure = control is not None and any(
        v.name.startswith("measured_pressure") for v in control.description.variables
    )
    if sees_pressure:
        names["T_PRESSURE"] = (train, "measured_pressure")
        names["S_PRESSURE"] = (own, "measured_pressure")
    lines = ["#define SEES_PRESSURE 1"] if sees_pressure else []
    lines += [
        f"static const unsigned {name}[] = {{{', '.join(map(str, unit.refs(base)))}}};"
        for name, (unit, base) in names.items()
    ]
    outs = [train.refs(name)[0] for name in ("truth.distance", "truth.train_speed",
                                              "audit.residual")]  # fmt: skip
    lines += [
        f"static const unsigned T_OUT[] = {{{', '.join(map(str, outs))}}};",
        f"static const int AXLES[] = {{{', '.join(map(str, sizes))}}};",
        f"static const int FIRST[] = {{{', '.join(map(str, firsts))}}};",
        f'#define T_TOKEN "{train.description.token}"',
        f'#define S_TOKEN "{own.description.token}"',
        f"#define N_VEHICLES_ {len(sizes)}",
        "#define MOST 48",
        "#define SAMPLE 0.01",
    ]
    (folder / "refs.h").write_text("\n".join(lines) + "\n")
    host = folder / "host"
    words = [compiler(), "-std=gnu11", "-O2", "-I", str(folder), str(SOURCES / "host.c"), "-o",
             str(host), "-ldl"]  # fmt: skip
    done = subprocess.run(words, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return host


class Ran(NamedTuple):
    distance: float
    speed: float
    residual: float
    n_steps: int
    time: float
    status: int


def run_host(host: Path, train: Path, control: Path | None, seed: int, step: float) -> Ran:
    words = [str(host), str(train), str(control or "-"), str(seed), str(step)]
    done = subprocess.run(words, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr
    texts = done.stdout.split()
    return Ran(*(float.fromhex(text) for text in texts[:3]), int(texts[3]), float(texts[4]),
               int(texts[5]))  # fmt: skip
