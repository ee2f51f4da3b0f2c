"""Units built for the tests: the example of the C door, as FMI 2.0 and 3.0."""

import shutil
import subprocess
import warnings
import zipfile
from pathlib import Path

import pytest
from tests.places import ROOT

from slipbench.controllers import by_name
from slipbench.exchange.binary import library_suffix, platform_names
from slipbench.strategies.native import native_folder

SOURCES = Path(__file__).parent / "sources"
MOST = 48
BUILT_IN = by_name("slip_band")

MAPPING = """
axles = 48
axle_count = "n_axles"
[inputs]
measured_wheel_speed = {speed}
brake_demand = "demand"
[outputs]
valve = {valve}
demand_factor = {factor}
slide = "slide"
[parameters]
"""


def compiler() -> str:
    found = shutil.which("cc") or shutil.which("gcc") or shutil.which("clang")
    if found is None:
        reason = "NO C COMPILER (cc, gcc, clang): FMI units are NOT tested here"
        warnings.warn(reason, stacklevel=1)
        pytest.skip(reason)
    return found


def compile_library(source: Path, library: Path, *options: str) -> None:
    words = [compiler(), "-std=gnu11", "-O2", "-ffp-contract=off", "-shared", "-fPIC",
             "-fvisibility=hidden", "-I", str(native_folder()),
             "-I", str(native_folder() / "examples"), *options, str(source), "-o", str(library),
             "-lm"]  # fmt: skip
    done = subprocess.run(words, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr


def description_2(name: str = "bench_test", more: str = "") -> str:
    rows = [
        f'<ScalarVariable name="v_axle_{i + 1}" valueReference="{i}" causality="input" '
        'variability="continuous"><Real start="0" unit="m/s"/></ScalarVariable>'
        for i in range(MOST)
    ]
    rows.append(
        '<ScalarVariable name="demand" valueReference="100" causality="input" '
        'variability="continuous"><Real start="0"/></ScalarVariable>'
    )
    rows.append(
        '<ScalarVariable name="n_axles" valueReference="300" causality="parameter" '
        'variability="fixed"><Integer start="48" min="1" max="48"/></ScalarVariable>'
    )
    rows += [
        f'<ScalarVariable name="control.{p.name}" valueReference="{200 + i}" '
        f'causality="parameter" variability="tunable"><Real start="{p.default!r}" min="{p.low!r}" '
        f'max="{p.high!r}" unit="{p.unit}"/></ScalarVariable>'
        for i, p in enumerate(BUILT_IN.parameters)
    ]
    n_before = len(rows)
    rows += [
        f'<ScalarVariable name="valve_{i + 1}" valueReference="{400 + i}" causality="output" '
        'variability="discrete"><Integer/></ScalarVariable>'
        for i in range(MOST)
    ]
    rows += [
        f'<ScalarVariable name="factor_{i + 1}" valueReference="{500 + i}" causality="output" '
        'variability="continuous"><Real/></ScalarVariable>'
        for i in range(MOST)
    ]
    rows.append(
        '<ScalarVariable name="slide" valueReference="600" causality="output" '
        'variability="discrete"><Boolean/></ScalarVariable>'
    )
    unknowns = "".join(f'<Unknown index="{i + 1}"/>' for i in range(n_before, len(rows)))
    return f"""<?xml version="1.0" encoding="UTF-8"?>
<fmiModelDescription fmiVersion="2.0" modelName="{name}" guid="{{c0ffee}}"
  variableNamingConvention="structured">
<CoSimulation modelIdentifier="{name}" canHandleVariableCommunicationStepSize="true" {more}/>
<UnitDefinitions><Unit name="m/s"><BaseUnit m="1" s="-1"/></Unit></UnitDefinitions>
<ModelVariables>{"".join(rows)}</ModelVariables>
<ModelStructure><Outputs>{unknowns}</Outputs><InitialUnknowns>{unknowns}</InitialUnknowns>
</ModelStructure>
</fmiModelDescription>"""


def description_3(name: str = "bench_test", more: str = "") -> str:
    size = '<Dimension valueReference="3"/>'
    zeros = " ".join(["0"] * MOST)
    tuned = "".join(
        f'<Float64 name="control.{p.name}" valueReference="{200 + i}" causality="parameter" '
        f'variability="tunable" start="{p.default!r}" min="{p.low!r}" max="{p.high!r}"/>'
        for i, p in enumerate(BUILT_IN.parameters)
    )
    return f"""<?xml version="1.0" encoding="UTF-8"?>
<fmiModelDescription fmiVersion="3.0" modelName="{name}" instantiationToken="{{c0ffee}}">
<CoSimulation modelIdentifier="{name}" canHandleVariableCommunicationStepSize="true" {more}/>
<UnitDefinitions><Unit name="m/s"><BaseUnit m="1" s="-1"/></Unit></UnitDefinitions>
<ModelVariables>
<Float64 name="time" valueReference="0" causality="independent" variability="continuous"/>
<UInt64 name="n_axles" valueReference="3" causality="structuralParameter" variability="fixed"
  start="48"/>
<Float64 name="speed" valueReference="1" causality="input" variability="continuous" unit="m/s"
  start="{zeros}">{size}</Float64>
<Float64 name="demand" valueReference="2" causality="input" variability="continuous" start="0"/>
{tuned}
<Int32 name="valve" valueReference="4" causality="output" variability="discrete">{size}</Int32>
<Float64 name="factor" valueReference="5" causality="output" variability="continuous">{size}
</Float64>
<Boolean name="slide" valueReference="6" causality="output" variability="discrete"/>
</ModelVariables>
<ModelStructure><Output valueReference="4"/><Output valueReference="5"/><Output valueReference="6"/>
<InitialUnknown valueReference="4"/><InitialUnknown valueReference="5"/>
<InitialUnknown valueReference="6"/></ModelStructure>
</fmiModelDescription>"""


def mapping(version: int) -> str:
    words = {"speed": '"v_axle_{axle}"', "valve": '"valve_{axle}"', "factor": '"factor_{axle}"'}
    if version == 3:
        words = {"speed": '"speed"', "valve": '"valve"', "factor": '"factor"'}
    tuned = "".join(f'{p.name} = "control.{p.name}"\n' for p in BUILT_IN.parameters)
    return MAPPING.format(**words) + tuned


def pack_unit(
    path: Path, description: str, library: Path | None, name: str = "bench_test",
    folder: str | None = None,
) -> Path:  # fmt: skip
    new, old = platform_names()
    where = folder or (old if 'fmiVersion="2.0"' in description else new)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("modelDescription.xml", description)
        if library is not None:
            archive.write(library, f"binaries/{where}/{name}{library_suffix()}")
        archive.writestr("resources/nothing.txt", "nothing\n")
    return path


def build_unit(
    folder: Path, version: int, *options: str, stem: str = "model", more: str = ""
) -> Path:
    """Return a unit with its mapping beside it, in a folder with a space in its name."""
    at = folder / f"a folder {stem}"
    at.mkdir(exist_ok=True)
    library = at / f"{stem}.so"
    compile_library(SOURCES / "controller.c", library, f"-DFMI={version}", *options)
    description = (description_2 if version == 2 else description_3)(more=more)
    unit = pack_unit(at / f"{stem}.fmu", description, library)
    library.unlink()
    (at / f"{stem}.map.toml").write_text(mapping(version))
    return unit


__all__ = ["ROOT", "build_unit", "compile_library", "mapping", "pack_unit"]
