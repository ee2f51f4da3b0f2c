"""Logs in and out: formats, guesses, mappings, what is told, and what is refused in one line."""

from pathlib import Path

import numpy as np
import pytest

from slipbench import simulate
from slipbench.commands.main import main
from slipbench.ground.errors import InputError
from slipbench.measured.plausible import look_over
from slipbench.measured.reading import read_log
from slipbench.measured.writing import WRITTEN_ENDINGS, log_bytes, stop_channels, write_log
from slipbench.scenario import load_scenario

KMH = 1.0 / 3.6


@pytest.fixture(scope="module")
def stop():
    return simulate(load_scenario("wet_leaf").replace(initial_speed=8.0), "slip_band")


@pytest.mark.parametrize("ending", WRITTEN_ENDINGS)
def test_a_stop_comes_back_to_the_bit(stop, ending, tmp_path: Path):
    file = tmp_path / f"log{ending}"
    write_log(stop, file)
    log = read_log(file)
    assert log.notes == ()
    time = stop.traces["time"]
    for name, trace in (("wheel_speed", "measured_wheel_speed"), ("pressure", "pressure"),
                        ("valve", "valve")):  # fmt: skip
        found = log.all_of(name)
        assert [c.number for c in found] == list(range(1, 17))
        for i, channel in enumerate(found):
            assert np.array_equal(channel.time, time)
            assert np.array_equal(channel.values, stop.traces[trace][:, i])
    for name in ("train_speed", "distance", "handle", "demand"):
        channel = log.one(name)
        assert channel is not None
        assert np.array_equal(channel.values, stop.traces[name])


def test_other_libraries_read_what_was_written(stop, tmp_path: Path):
    """pandas, asammdf and nptdms are the outside; names, units and bits as we wrote them."""
    import pandas
    from asammdf import MDF
    from nptdms import TdmsFile

    wanted = stop.traces["pressure"][:, 3]
    for ending in WRITTEN_ENDINGS:
        write_log(stop, tmp_path / f"log{ending}")
    table = pandas.read_csv(tmp_path / "log.csv", comment="#")
    assert np.array_equal(table["axle_4_pressure_pa"], wanted)
    frame = pandas.read_parquet(tmp_path / "log.parquet")
    assert np.array_equal(frame["axle_4_pressure_pa"], wanted)
    with MDF(tmp_path / "log.mf4") as mdf:
        signal = mdf.get("axle_4_pressure_pa")
        assert signal.unit == "Pa" and np.array_equal(signal.samples, wanted)
    channel = TdmsFile.read(tmp_path / "log.tdms")["log"]["axle_4_pressure_pa"]
    assert channel.properties["unit_string"] == "Pa" and np.array_equal(channel[:], wanted)


FOREIGN = """Logger 7, car A\tserial 12
Zeit;v Achse 1;v Achse 2;p BC 1;p BC 2;v Radar;Handle
s;km/h;km/h;bar;bar;km/h;
0,00;72,0;71,9;0,00;0,01;72,1;0
0,10;72,0;71,9;0,00;0,01;72,1;0
0,20;71,5;71,4;0,50;0,51;71,9;2
0,30;71,0;;1,20;1,21;71,7;2
0,40;70,5;70,4;1,90;1,91;71,4;2
"""


def test_a_foreign_csv_is_guessed(tmp_path: Path):
    file = tmp_path / "far.csv"
    file.write_text(FOREIGN)
    log = read_log(file)
    wheels = log.all_of("wheel_speed")
    assert [c.number for c in wheels] == [1, 2]
    assert wheels[0].values[2] == pytest.approx(71.5 * KMH, rel=1e-12)
    assert np.isnan(wheels[1].values[3])
    assert log.all_of("pressure")[1].values[4] == pytest.approx(1.91e5, rel=1e-12)
    radar = log.one("train_speed")
    assert radar is not None and radar.values[0] == pytest.approx(72.1 * KMH)
    assert log.one("handle") is not None


def test_a_guess_is_a_mapping_that_reads_the_same(tmp_path: Path, capsys):
    file, target = tmp_path / "far.csv", tmp_path / "map.toml"
    file.write_text(FOREIGN)
    assert main(["log", str(file), "--guess", str(target)]) == 0
    guessed, mapped = read_log(file), read_log(file, target)
    assert len(guessed.channels) == len(mapped.channels) == 6
    for a, b in zip(guessed.channels, mapped.channels, strict=True):
        assert (a.quantity, a.place, a.name) == (b.quantity, b.place, b.name)
        assert np.array_equal(a.values, b.values, equal_nan=True)
    assert main(["log", str(file), "--guess", str(target)]) == 0  # ours, unchanged: replaced
    target.write_text(target.read_text() + "# mine\n")
    assert main(["log", str(file), "--guess", str(target)]) == 2
    assert "changed since" in capsys.readouterr().err


def test_a_mapping_scales_shifts_and_counts_turns(tmp_path: Path):
    (tmp_path / "a.csv").write_text(
        "t,n1,p\n" + "".join(f"{0.1 * i},{600 - i},{5.0 - 0.1 * i}\n" for i in range(30))
    )
    (tmp_path / "m.toml").write_text(
        '[time]\nname = "t"\n[[channel]]\nname = "n1"\nquantity = "wheel_speed"\naxle = 1\n'
        'unit = "r/min"\ndiameter_m = 0.84\ndelay_s = 0.05\n[[channel]]\nname = "p"\n'
        'quantity = "pressure"\nbogie = 1\nunit = "bar"\nscale = -1.0\noffset = 5e5\n'
    )
    log = read_log(tmp_path / "a.csv", tmp_path / "m.toml")
    wheel, pressure = log.channels
    assert wheel.values[0] == pytest.approx(600 / 60 * np.pi * 0.84, rel=1e-12)
    assert wheel.time[0] == pytest.approx(-0.05)
    assert pressure.span == "bogie" and pressure.values[10] == pytest.approx(1e5)


def test_dates_and_times_of_day_count_from_the_first_sample(tmp_path: Path):
    rows = [f"2026-10-14 06:12:{3 + 0.1 * i:06.3f};{20 - 0.1 * i}" for i in range(30)]
    (tmp_path / "d.csv").write_text("time;axle 1 [m/s]\n" + "\n".join(rows) + "\n")
    log = read_log(tmp_path / "d.csv")
    assert log.channels[0].time[:3] == pytest.approx([0.0, 0.1, 0.2], abs=1e-6)


def test_what_is_odd_is_told_and_what_serves_is_used(tmp_path: Path):
    time = np.arange(0.0, 20.0, 0.05)
    time[200:] += 1.5  # a gap
    true = 30.0 - 0.8 * time
    stuck = np.where(time > 6.0, true[np.searchsorted(time, 6.0)], true)
    columns = [time, true, stuck, 1.2 * true, true, np.full_like(time, -4e4)]
    rows = [",".join(map(repr, row)) for row in np.column_stack(columns).tolist()]
    rows.insert(50, rows[40])  # the clock jumps back
    (tmp_path / "o.csv").write_text(
        "time,axle 1 [m/s],axle 2 [m/s],axle 3 [m/s],axle 5 [m/s],p1 [Pa]\n" + "\n".join(rows)
    )
    log = read_log(tmp_path / "o.csv")
    said = " / ".join((*log.notes, *look_over(log)))
    for word in ("jumps back", "gaps", "stuck?", "axle 3: is faster", "axle 4", "not below 0"):
        assert word in said, (word, said)
    assert len(log.channels) == 5 and len(log.channels[0].time) == len(time)


GOOD = "time_s,axle_1_wheel_speed_m_per_s\n" + "".join(f"{i},{20 - i}\n" for i in range(20))
ENTRY = '[[channel]]\nname = "axle_1_wheel_speed_m_per_s"\nquantity = "wheel_speed"\naxle = 1\n'

BROKEN: dict[str, tuple[str, bytes | None, str | None, str]] = {
    "missing": ("a.csv", None, None, "no such file"),
    "another ending": ("a.xyz", b"1", None, "a log is a file that ends in"),
    "empty": ("a.csv", b"\n\n", None, "is empty"),
    "no table": ("a.csv", b"nothing here\nat all\n", None, "no columns"),
    "no numbers": ("a.csv", b"a,b\nc,d\ne,f\n", None, "no row of numbers"),
    "bytes": ("a.csv", b"\x00\x01\x02" * 50, None, "no text"),
    "one name twice": ("a.csv", b"t,v,v\n0,1,2\n1,2,3\n", None, "is there twice"),
    "nothing known": ("a.csv", b"t,xyzzy\n0,1\n1,2\n2,3\n", None, "nothing in it"),
    "no time": (
        "a.csv",
        b"axle 1 [m/s],axle 2 [m/s]\n" + b"3,3\n2,2\n2,1\n3,3\n" * 5,
        None,
        "no channel is the time",
    ),
    "one time": ("a.csv", b"t,axle 1 [m/s]\n" + b"1,2\n" * 9, None, "two samples"),
    "no such channel": (
        "a.csv", GOOD.encode(), '[[channel]]\nname = "v9"\nquantity = "wheel_speed"\naxle = 9\n'
        'unit = "m/s"\n', "has no channel 'v9'",
    ),
    "unknown unit": ("a.csv", GOOD.encode(), ENTRY + 'unit = "knots"\n', "unknown for wheel_speed"),
    "turns without a wheel": ("a.csv", GOOD.encode(), ENTRY + 'unit = "rpm"\n', "needs diameter_m"),
    "unknown key": ("a.csv", GOOD.encode(), ENTRY + 'unit = "m/s"\nsclae = 2.0\n', "mean scale"),
    "given twice": ("a.csv", GOOD.encode(), (ENTRY + 'unit = "m/s"\n') * 2, "is given twice"),
    "no axle": (
        "a.csv", GOOD.encode(),
        ENTRY.replace("axle = 1\n", "") + 'unit = "m/s"\n', "of one of: axle"
    ),
    "no TOML": ("a.csv", GOOD.encode(), "[[channel", "not valid TOML"),
    "no MDF": ("a.mf4", b"MDF     4.10" + b"\x00" * 90, None, "cannot be read as MDF 4"),
    "cut MDF": ("a.mf4", b"cut", None, "cannot be read as MDF 4"),
    "no Parquet": ("a.parquet", b"PAR1, or so it says", None, "cannot be read as Parquet"),
    "no TDMS": ("a.tdms", b"TDSm" + b"\xff" * 60, None, "no channel of numbers"),
}  # fmt: skip


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_log_is_one_clear_line(name, tmp_path: Path, capsys, stop):
    file, content, mapping, words = BROKEN[name]
    path = tmp_path / file
    if name == "cut MDF":
        content = log_bytes(stop_channels(stop), {"comment": "x"}, path)[:4000]
    if content is not None:
        path.write_bytes(content)
    line = ["log", str(path)]
    if mapping is not None:
        (tmp_path / "m.toml").write_text(mapping)
        line += ["--map", str(tmp_path / "m.toml")]
    assert main(line) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1 and words in said, said
    assert "Traceback" not in said


def test_a_log_of_another_train_is_refused(tmp_path: Path, capsys):
    rows = "".join(f"{0.1 * i},{20 - 0.1 * i},{20 - 0.1 * i}\n" for i in range(60))
    (tmp_path / "a.csv").write_text(f"time_s,axle 1 [m/s],axle 17 [m/s]\n{rows}")
    out = ["--out", str(tmp_path / "o")]
    assert main(["log", str(tmp_path / "a.csv"), "--train", "wet_leaf", *out]) == 2
    assert "has 16 axles" in capsys.readouterr().err


def test_a_stop_writes_its_log_and_nothing_of_yours(tmp_path: Path, capsys):
    file = tmp_path / "mine.csv"
    line = ["stop", "dry", "--strategy", "none", "--speed", "3mph", "--log", str(file)]
    assert main(line) == 0
    assert len(read_log(file).channels) == 52
    file.write_text("mine")
    assert main(line) == 2 and file.read_text() == "mine"
    assert main([*line[:-1], str(tmp_path / "a.xls")]) == 2
    assert ".mf4" in capsys.readouterr().err


def test_a_missing_library_is_one_line(monkeypatch, tmp_path: Path):
    import sys

    for module, ending, extra in (("asammdf", ".mf4", "mdf"), ("nptdms", ".tdms", "tdms"),
                                  ("pyarrow", ".parquet", "parquet")):  # fmt: skip
        monkeypatch.setitem(sys.modules, module, None)
        monkeypatch.setitem(sys.modules, "pyarrow.parquet", None)
        (tmp_path / f"a{ending}").write_bytes(b"x")
        with pytest.raises(InputError, match=rf"slipbench\[{extra}\]"):
            read_log(tmp_path / f"a{ending}")


@pytest.mark.slow
def test_a_long_log_is_read_quickly(tmp_path: Path):
    """16 axles, ten minutes at 100 Hz; the time is printed, not asserted."""
    from tests.measured.hundred import reading_time

    assert reading_time(tmp_path, minutes=10.0) > 0.0


@pytest.mark.parametrize("n_rows", [2, 5, 12, 25, 49])
def test_a_log_of_a_few_seconds_is_one_clear_line(n_rows, tmp_path: Path, capsys, stop):
    whole = log_bytes(stop_channels(stop), {"comment": "x"}, tmp_path / "a.csv").decode()
    lines = whole.splitlines(keepends=True)
    head = next(i for i, line in enumerate(lines) if line[0].isdigit())
    (tmp_path / "a.csv").write_text("".join(lines[: head + n_rows]))
    assert (
        main(["log", str(tmp_path / "a.csv"), "--train", "wet_leaf", "--out", str(tmp_path)]) == 2
    )
    said = capsys.readouterr().err
    assert said.count("\n") == 1 and "Traceback" not in said and "fault of" not in said, said
