import csv
import json
import math
import os
import sqlite3
import zlib
from pathlib import Path

import numpy as np
import pytest

from slipbench.campaign import store
from slipbench.campaign.campaign import run_campaign
from slipbench.campaign.export import (
    check_export,
    column_names,
    columns,
    flat,
    write_csv,
    write_export,
)
from slipbench.campaign.keeping import backup, mend
from slipbench.campaign.opening import refuse_torn
from slipbench.campaign.plan import Plan
from slipbench.campaign.store import Store
from slipbench.ground.errors import InputError
from slipbench.results import identity
from slipbench.results.quantities import head
from slipbench.running.candidate import candidate_of, source_hash
from slipbench.running.task import Outcome, make_task
from slipbench.strategies.registry import find_controller


@pytest.fixture
def path(tmp_path):
    return tmp_path / "campaign.sqlite"


def fill(path, plan, stub, branch="main"):
    runner = stub()
    with Store(path, branch) as opened:
        counts = run_campaign(plan, opened, runner, is_quiet=True)
    return counts, runner


def test_a_campaign_is_run_once(path, plan, stub):
    first, _ = fill(path, plan, stub)
    again, runner = fill(path, plan, stub)
    assert (first.n_run, first.n_found) == (16, 0)
    assert (again.n_run, again.n_found, runner.n_run) == (0, 16, 0)


def test_a_longer_plan_runs_only_what_is_new(path, plan, stub):
    fill(path, plan, stub)
    longer = Plan(plan.scenarios, plan.candidates, range(3))
    counts, _ = fill(path, longer, stub)
    assert (counts.n_run, counts.n_found) == (8, 16)


def test_stops_are_stored_with_all_they_depend_on(path, plan, stub):
    fill(path, plan, stub)
    with Store(path, is_writer=False) as opened:
        stops = list(opened.stops())
        assert opened.scenario(stops[0].scenario_hash).name == stops[0].scenario
        assert opened.versions() == dict(identity.versions())
        assert len(opened) == 16
    task = next(plan.tasks())
    found = next(s for s in stops if s.candidate == "slip_band" and s.seed == 0)
    assert found.source_hash == task.candidate.source_hash
    assert found.parameters == task.candidate.parameters()
    assert json.dumps(found.summary) == stub().run_on(next(iter(stub().machines())), task).summary
    source = sqlite3.connect(path).execute("SELECT source FROM controller WHERE name='slip_band'")
    assert "def update(" in source.fetchone()[0]


def test_a_changed_scenario_is_refused_with_what_changed(path, plan, stub, small):
    fill(path, Plan([small], plan.candidates), stub)
    changed = Plan([small.replace({"brake.build_up_time": 1.25})], plan.candidates)
    with pytest.raises(InputError, match=r"'small' has changed.*brake\.build_up_time was 1\.5"):
        fill(path, changed, stub)
    counts, _ = fill(path, changed, stub, branch="quicker")
    assert (counts.n_run, counts.n_found) == (2, 0)
    with Store(path, "quicker", is_writer=False) as opened:
        assert len(opened) == 2 and opened.branches() == ["main", "quicker"]
    again, _ = fill(path, changed, stub, branch="quicker")
    assert again.n_found == 2


def test_a_changed_strategy_is_refused(path, plan, stub, tmp_path, small):
    file = tmp_path / "mine.py"
    text = (
        "from slipbench.contract import Controller\n"
        "def update(observation, parameters, memory, command, signals):\n"
        "    command[:, 0] = {valve}\n"
        "CONTROLLER = Controller('mine', 'test', update, observes=())\n"
    )
    file.write_text(text.format(valve=0), encoding="utf-8")
    reference = f"{file}:CONTROLLER"
    fill(path, Plan([small], (candidate_of(find_controller(reference)),)), stub)
    file.write_text(text.format(valve=1), encoding="utf-8")
    changed = Plan([small], (candidate_of(find_controller(reference)),))
    with pytest.raises(InputError, match="strategy 'mine' has changed"):
        fill(path, changed, stub)


def test_a_label_with_other_values_is_refused(path, plan, stub, small):
    candidate = plan.candidates[0]
    fill(path, Plan([small], (candidate.with_values({"fill_slip": 0.1}, "mine"),)), stub)
    other = Plan([small], (candidate.with_values({"fill_slip": 0.11}, "mine"),))
    with pytest.raises(InputError, match="candidate 'mine' has changed"):
        fill(path, other, stub)


def test_other_versions_are_refused_and_may_branch(path, plan, stub, monkeypatch):
    fill(path, plan, stub)
    versions = {**identity.versions(), "numba": "0.1"}
    monkeypatch.setattr(store, "versions_text", lambda: json.dumps(versions))
    with pytest.raises(InputError, match=r"other versions: numba .* -> 0\.1; .*--branch"):
        fill(path, plan, stub)
    counts, _ = fill(path, plan, stub, branch="old numba")
    assert counts.n_found == 0  # nothing is taken over


def test_two_writers_are_refused_and_readers_are_not(path, plan, stub):
    fill(path, plan, stub)
    with Store(path), Store(path, is_writer=False) as reader:
        assert len(reader) == 16
        with pytest.raises(InputError, match="another process is writing"):
            Store(path)
    Store(path).close()
    assert not path.with_name("campaign.sqlite.lock").exists()


def test_what_is_no_campaign_is_refused(path, tmp_path):
    path.write_text("not a database, whatever its name says " * 50, encoding="utf-8")
    with pytest.raises(InputError, match="cannot be used"):
        Store(path)
    with pytest.raises(InputError, match="is a folder"):
        Store(tmp_path)
    with pytest.raises(InputError, match="folder is missing"):
        Store(tmp_path / "none" / "campaign.sqlite")
    with pytest.raises(InputError, match="no such file"):
        Store(tmp_path / "none.sqlite", is_writer=False)
    other = tmp_path / "other.sqlite"
    sqlite3.connect(other).execute("CREATE TABLE branch (id)").connection.commit()
    with pytest.raises(InputError, match="another program"):
        Store(other)


def damage(path, statement):
    database = sqlite3.connect(path)
    database.execute(statement)
    database.commit()
    database.close()


def test_nothing_goes_into_a_broken_file(path, plan, stub):
    fill(path, plan, stub)
    content = bytearray(path.read_bytes())
    middle = len(content) // 2 // 4096 * 4096
    content[middle : middle + 4096] = bytes(4096)
    path.write_bytes(content)
    with pytest.raises(InputError, match=r"is damaged: .*slipbench mend") as problem:
        Store(path)
    assert path.read_bytes() == content and "\n" not in str(problem.value)
    assert not path.with_name("campaign.sqlite.lock").exists()


@pytest.mark.parametrize(
    ("statement", "what"),
    [
        ("UPDATE stop SET summary = substr(summary, 1, 40)", "16 stored stops are damaged: row 1"),
        (
            "UPDATE stop SET summary = '7' WHERE id = 3",
            "1 stored stops are damaged: row 3 .*seed 1",
        ),
        ("UPDATE stop SET parameters = x'00ff' WHERE id = 2", "damaged: row 2"),
        ("UPDATE stop SET seed = 'x' WHERE id = 2", "damaged: row 2"),
        ("UPDATE stop SET duration = duration + 1e-9 WHERE id = 5", "damaged: row 5"),
        ("UPDATE stop SET summary = hex(zeroblob(100000)) WHERE id = 4", "damaged: row 4"),
        ("UPDATE stop SET machine_id = 7 WHERE id = 4", "damaged: row 4"),
        ("UPDATE stop SET branch_id = 9 WHERE id = 4", "15 stops are stored where 16"),
        ("DELETE FROM stop WHERE id = 4", "15 stops are stored where 16"),
        ("UPDATE branch SET n_stops = 17", "the entry of branch 'main'"),
        ("UPDATE branch SET versions = '{}'", "the entry of branch 'main'"),
        ("UPDATE machine SET text = '{'", "a machine type stored in it"),
        ("UPDATE scenario SET name = 'other'", "stored stops are damaged"),
        ("UPDATE scenario SET text = x'0102'", "a scenario stored in it"),
        ("UPDATE scenario SET text = 'words'", "a scenario stored in it"),
    ],
)
def test_damaged_content_is_one_line(path, plan, stub, statement, what):
    fill(path, plan, stub)
    damage(path, statement)
    task = next(plan.tasks())
    before = path.read_bytes()
    for is_writer in (False, True):
        with (
            pytest.raises(InputError, match=what) as problem,
            Store(path, is_writer=is_writer) as opened,
        ):
            opened.machines()
            opened.scenario(task.scenario_hash)
        assert "\n" not in str(problem.value)
        assert "slipbench mend" in str(problem.value)
    assert path.read_bytes() == before


def test_an_unknown_branch_cannot_be_read(path, plan, stub):
    fill(path, plan, stub)
    with pytest.raises(InputError, match="no branch 'x'; it has: main"):
        Store(path, "x", is_writer=False)


def test_scenario_texts_are_stored_once(path, plan, stub):
    fill(path, plan, stub)
    database = sqlite3.connect(path)
    texts = database.execute("SELECT text FROM scenario").fetchall()
    assert len(texts) == len(plan.scenarios)
    assert b'"friction"' in zlib.decompress(texts[0][0])


def test_csv_holds_every_stop_and_every_bit(path, plan, stub, tmp_path):
    fill(path, plan, stub)
    target = tmp_path / "stops.csv"
    with Store(path, is_writer=False) as opened:
        assert write_csv(opened, target) == 16
        heads, *lines = target.read_text(encoding="utf-8").splitlines()
        names = column_names(opened)
        first = next(opened.stops())
    assert heads.split(",") == list(map(head, names)) and len(lines) == 16
    cells = dict(zip(names, lines[0].split(","), strict=True))
    assert float(cells["stopping_distance"]) == first.summary["stopping_distance"]
    assert float(cells["locked_time.2"]) == first.summary["locked_time"][1]
    assert cells["is_stopped"] == "true"


def test_columns_have_one_type_each(path, plan, stub):
    fill(path, plan, stub)
    with Store(path, is_writer=False) as opened:
        table = columns(opened)
    kinds = {name: values.dtype.kind for name, values in table.items()}
    assert {values.shape for values in table.values()} == {(16,)}
    assert (kinds["scenario"], kinds["seed"], kinds["is_stopped"]) == ("U", "i", "b")
    # a parameter only one of the strategies has
    assert kinds["parameter.fill_slip"] == "f"


def test_a_parquet_file_holds_every_stop_and_every_bit(path, plan, stub, tmp_path):
    parquet = pytest.importorskip("pyarrow.parquet")
    fill(path, plan, stub)
    target = tmp_path / "stops.parquet"
    check_export(target)
    with Store(path, is_writer=False) as opened:
        assert write_export(opened, target) == 16
        table = columns(opened)
    read = parquet.read_table(target)
    assert read.column_names == list(map(head, table)) and read.num_rows == 16
    kinds = {name: str(read.schema.field(name).type) for name in ("scenario", "seed", "is_stopped")}
    assert kinds == {"scenario": "string", "seed": "int64", "is_stopped": "bool"}
    for name, values in table.items():
        found = read.column(head(name)).to_numpy()
        is_number = values.dtype.kind == "f"
        assert np.array_equal(found, values, equal_nan=is_number), name
    check_export(target)  # its own may be written again
    parquet.write_table(read, target, compression="none")
    (tmp_path / "words.parquet").write_text("PAR1, or so it says", encoding="utf-8")
    for foreign in (target, tmp_path / "words.parquet"):
        with pytest.raises(InputError, match="written by slipbench"):
            check_export(foreign)


def test_parquet_without_the_extra_says_so(tmp_path, monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "pyarrow.parquet", None)
    with pytest.raises(InputError, match="extra `parquet`"):
        check_export(tmp_path / "stops.parquet")


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ([None, 1.5], [math.nan, 1.5]),
        ([None, None], [math.nan, math.nan]),
        ([True, None], [1.0, math.nan]),
        ([3, None], [3.0, math.nan]),
    ],
)
def test_missing_numbers_are_nan_in_columns_and_empty_in_csv(
    path, plan, stub, tmp_path, values, expected
):
    class Gaps(stub):
        def run_on(self, machine, task):
            outcome = super().run_on(machine, task)
            gap = values[task.seed]
            summary = json.loads(outcome.summary) | {"gap": gap, "by_axle": [gap, 2.0], "none": []}
            return Outcome(outcome.key, json.dumps(summary), outcome.machine, 0.0)

    with Store(path) as store:
        run_campaign(plan, store, Gaps(), is_quiet=True)
        table = columns(store)
        write_csv(store, tmp_path / "gaps.csv")
    in_order = np.array(expected)[table["seed"]]
    assert np.array_equal(table["gap"], in_order, equal_nan=True)
    assert np.array_equal(table["by_axle.1"], in_order, equal_nan=True)
    assert (table["by_axle.2"] == 2.0).all() and "none" not in table
    with open(tmp_path / "gaps.csv", newline="", encoding="utf-8") as stream:
        for row in csv.DictReader(stream):
            value = values[int(row["seed"])]
            assert (row["gap"] == "") == (value is None)
            assert row["by_axle.2"] == "2.0"


def test_source_hash_follows_what_a_strategy_imports(tmp_path, monkeypatch):
    monkeypatch.syspath_prepend(tmp_path)
    (tmp_path / "helper_of_mine.py").write_text("LIMIT = 1.0\n", encoding="utf-8")
    file = tmp_path / "mine.py"
    file.write_text(
        "from slipbench.contract import Controller\n"
        "from helper_of_mine import LIMIT\n"
        "def update(observation, parameters, memory, command, signals):\n"
        "    command[:, 1] = LIMIT\n"
        "CONTROLLER = Controller('mine', 'test', update, observes=())\n",
        encoding="utf-8",
    )
    controller = find_controller(f"{file}:CONTROLLER").controller
    before = source_hash(controller)
    (tmp_path / "helper_of_mine.py").write_text("LIMIT = 0.5\n", encoding="utf-8")
    assert source_hash(controller) != before


def test_versions_cover_the_physics_and_leave_out_pictures():
    names = identity.sources_of(identity.STOP_MODULE, "slipbench")
    parts = ("kernel.step", "packing", "stop.stop", "contact")
    assert {f"slipbench.{part}" for part in parts} <= set(names)
    assert not any(name.startswith("slipbench.figures") for name in names)


def test_key_depends_on_all_that_decides_a_stop(small, plan):
    candidate = plan.candidates[0]
    keys = {
        make_task(small, candidate, 0).key,
        make_task(small, candidate, 1).key,
        make_task(small.replace(initial_speed=9.0), candidate, 0).key,
        make_task(small, candidate.with_values({"fill_slip": 0.1}, "other"), 0).key,
        make_task(small, plan.candidates[1], 0).key,
    }
    assert len(keys) == 5


def test_a_damaged_stop_is_named_and_only_it_is_computed_again(path, plan, stub, tmp_path):
    fill(path, plan, stub)
    with Store(path, is_writer=False) as opened:
        expected = list(opened.stops())
    damage(path, "UPDATE stop SET summary = replace(summary, '20.0', '20.5') WHERE id = 7")
    damage(path, "DELETE FROM stop WHERE id = 3")
    before = path.read_bytes()
    with pytest.raises(InputError, match="1 stored stops are damaged: row 7"):
        Store(path)
    mended = mend(path, tmp_path / "mended.sqlite")
    assert mended.n_kept == 14 and mended.n_gone == 1 and "row 7" in mended.lost[0]
    assert "14 stops are intact" in mended.text() and path.read_bytes() == before
    counts, _ = fill(tmp_path / "mended.sqlite", plan, stub)
    assert (counts.n_found, counts.n_run) == (14, 2)
    with Store(tmp_path / "mended.sqlite", is_writer=False) as opened:
        assert list(opened.stops()) == expected
    with pytest.raises(InputError, match="name a new file"):
        mend(path, tmp_path / "mended.sqlite")


def test_a_running_campaign_is_copied_as_it_is(path, plan, stub, tmp_path):
    with Store(path) as opened:
        for i, (task, outcome) in enumerate(stub().run(plan.tasks())):
            opened.add(task, outcome)
            if i == 8:
                assert backup(path, tmp_path / "copy.sqlite") == 9
    counts, _ = fill(tmp_path / "copy.sqlite", plan, stub)
    assert (counts.n_found, counts.n_run) == (9, 7)
    assert sorted(one.name for one in tmp_path.iterdir()) == ["campaign.sqlite", "copy.sqlite"]
    for target in (tmp_path / "copy.sqlite", tmp_path / "gone" / "copy.sqlite"):
        with pytest.raises(InputError):
            backup(path, target)


def test_a_refused_store_is_left_as_it_was(path, plan, stub, tmp_path, monkeypatch):
    fill(path, plan, stub)
    foreign = tmp_path / "foreign.sqlite"
    database = sqlite3.connect(foreign)
    database.execute("PRAGMA journal_mode = WAL")
    database.execute("CREATE TABLE mine (id)")
    (tmp_path / "words.sqlite").write_text("words")
    (tmp_path / "linked.sqlite.lock").symlink_to(tmp_path / "nowhere")
    (tmp_path / "held.sqlite.lock").write_text("mine")
    os.mkfifo(tmp_path / "pipe.sqlite")
    (tmp_path / "zero.sqlite").symlink_to("/dev/zero")
    monkeypatch.setattr(store, "versions_text", lambda: '{"numba": "0.1"}')
    before = {one: os.stat(one).st_mtime_ns for one in tmp_path.iterdir() if one.is_file()}
    names = sorted(one.name for one in tmp_path.iterdir())
    for name in ("campaign", "foreign", "words", "linked", "held", "pipe", "zero", "n" * 300):
        with pytest.raises(InputError):
            Store(tmp_path / f"{name}.sqlite")
    assert sorted(one.name for one in tmp_path.iterdir()) == names
    assert {one: os.stat(one).st_mtime_ns for one in before} == before
    database.close()


def test_no_flipped_bit_changes_a_number_unnoticed(path, plan, stub, tmp_path):
    fill(path, plan, stub)

    def exported(file):
        with Store(file, is_writer=False) as opened:
            return [flat(stop) for stop in opened.stops()]

    expected, content = exported(path), path.read_bytes()
    generator = np.random.default_rng()
    seen = 0
    for bit in generator.integers(0, 8 * len(content), 60).tolist():
        flipped = bytearray(content)
        flipped[bit // 8] ^= 1 << bit % 8
        other = tmp_path / "flipped.sqlite"
        other.write_bytes(flipped)
        try:
            assert exported(other) == expected, f"bit {bit}"
        except InputError as problem:
            seen += "\n" not in str(problem)
        for beside in tmp_path.glob("flipped.sqlite*"):
            beside.unlink()
    assert seen > 0


def test_a_damaged_name_in_what_sqlite_finds_is_one_line_too() -> None:
    class Torn:
        def execute(self, _statement: str) -> None:
            b"index idx_\xc1 is not in order".decode()

    with pytest.raises(InputError, match=r"campaign c\.sqlite: is damaged: .*slipbench mend"):
        refuse_torn(Torn(), Path("c.sqlite"))  # type: ignore[arg-type]
