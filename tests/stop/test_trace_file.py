"""Traces as a table: heads with units, every number, one stop told."""

import csv

import numpy as np
import pytest

from slipbench import simulate
from slipbench.ground.errors import InputError
from slipbench.scenario import load_scenario
from slipbench.stop.trace_file import check_trace_file, trace_columns, write_traces


@pytest.fixture(scope="module")
def stop():
    return simulate(load_scenario("wet_leaf").replace(initial_speed=5.0), "slip_band")


def test_csv_holds_every_trace_with_its_unit(stop, tmp_path):
    path = tmp_path / "traces.csv"
    n_rows = write_traces(stop, path)
    lines = path.read_text().splitlines()
    assert lines[0].startswith("# wet_leaf, slip_band, seed 0: stopped in")
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    assert len(rows) == n_rows == len(stop.traces["time"])
    speeds = [float(row["wheel_speed_m_per_s.3"]) for row in rows]
    assert speeds == stop.traces["wheel_speed"][:, 2].tolist()
    assert [float(row["pressure_pa.1"]) for row in rows] == stop.traces["pressure"][:, 0].tolist()
    n_axles = stop.scenario.train.n_axles
    of_train = [name for name, values in stop.traces.items() if values.ndim == 1]
    assert len(rows[0]) == len(of_train) + n_axles * (len(stop.traces) - len(of_train))


def test_parquet_holds_the_same(stop, tmp_path):
    parquet = pytest.importorskip("pyarrow.parquet")
    path = tmp_path / "traces.parquet"
    write_traces(stop, path)
    table = parquet.read_table(path)
    columns = trace_columns(stop)
    assert table.column_names == list(columns)
    assert np.array_equal(table["time_s"].to_numpy(), stop.traces["time"])


def test_path_that_cannot_serve_is_refused(stop, tmp_path):
    with pytest.raises(InputError, match=r"must end in .csv or .parquet"):
        check_trace_file(tmp_path / "traces.txt")
    own = tmp_path / "own.csv"
    own.write_text("mine")
    with pytest.raises(InputError, match="--overwrite"):
        check_trace_file(own)
    bare = simulate(stop.scenario, "none", with_traces=False)
    with pytest.raises(InputError, match="no traces"):
        trace_columns(bare)
