"""The commands that draw or play one stop, and the report of a comparison."""

import json

LINE = ("--speed", "20mph", "--strategy", "none")


def test_picture_writes_vector_and_png(tmp_path, run):
    ran = run("picture", "wet_leaf", *LINE, "--out", tmp_path)
    assert ran.code == 0 and "stopped in" in ran.out
    names = {path.name for path in tmp_path.iterdir()}
    pictures = {
        f"{n}.{k}" for n in ("stop_sheet", "rail_map", "creep_trace") for k in ("png", "svg")
    }
    assert names == {"picture.json", *pictures}


def test_playback_of_two_names_the_line_that_makes_it(tmp_path, run):
    ran = run("playback", "wet_leaf", *LINE[:-1], "none,slip_band", "--out", tmp_path)
    assert ran.code == 0
    page = (tmp_path / "playback.html").read_text()
    line = "slipbench playback wet_leaf --strategy none,slip_band --speed 20mph"
    assert line in page
    assert page.count('"controller":') == 2


def test_compare_writes_a_report_that_can_be_written_again(tmp_path, run):
    line = ("compare", "wet_leaf", "dry", "--strategy", "none,slip_band", "--speed", "20mph")
    ran = run(*line, "--workers", "1", "--out", tmp_path, "--report")
    assert ran.code == 0 and "report.html" in ran.out
    first = (tmp_path / "report.html").read_text()
    assert "slipbench compare wet_leaf dry --strategy none,slip_band --speed 20mph" in first
    assert first.count("data:image/svg+xml") == 4  # two rails, distances, speeds
    assert "rail.sections.0.friction" in first and "chosen in 0.01-0.05" in first
    assert run("report", tmp_path).code == 0
    assert (tmp_path / "report.html").read_text() == first
    assert run("report", tmp_path, "--question", "Does it <help>?").code == 0
    assert "<h1>Does it &lt;help&gt;?</h1>" in (tmp_path / "report.html").read_text()
    record = json.loads((tmp_path / "compare.json").read_text())
    assert len(record["shared_values"]) > 50
    assert len(record["findings"]) == len(record["rows"]) == 4 * record["n_seeds"]
    # a later comparison takes the page about the numbers before it away
    assert run(*line, "--seeds", "1", "--workers", "1", "--out", tmp_path).code == 0
    assert not (tmp_path / "report.html").exists() and not (tmp_path / "report.json").exists()
    (tmp_path / "compare.csv").write_text("mine now")
    refused = run(*line, "--seeds", "1", "--workers", "1", "--out", tmp_path)
    assert refused.code == 2 and "--overwrite" in refused.err
    assert (tmp_path / "compare.csv").read_text() == "mine now"


def test_report_refuses_what_it_cannot_read(tmp_path, run):
    for argv in (("report", tmp_path), ("report", tmp_path, "--question", " ")):
        ran = run(*argv)
        assert ran.code == 2 and ran.err.count("\n") == 1
    ran = run("compare", "dry", "--json", "--report")
    assert ran.code == 2 and "--out" in ran.err


def test_playback_refuses_an_unknown_strategy_beside(tmp_path, run):
    ran = run("playback", "wet_leaf", *LINE[:-1], "none,slip_bnd", "--out", tmp_path / "new")
    assert ran.code == 2 and "slip_band" in ran.err
    assert not (tmp_path / "new").exists()


def test_playback_plays_ways_of_driving_and_other_files(tmp_path, run):
    for option, words in (
        (("--drivers", "held,eased-to-1"), ("step 3 held", "eased to step 1")),
        (("--beside", "dry"), ("(wet_leaf)", "(dry)")),
    ):
        ran = run(
            "playback", "wet_leaf", "--speed", "15mph", *option, "--out", tmp_path, "--overwrite"
        )
        assert ran.code == 0 and all(word in ran.out for word in words)
        assert " ".join(option) in (tmp_path / "playback.html").read_text()


def test_playback_refuses_more_than_two(tmp_path, run):
    for more in (
        ("--drivers", "held,eased,pumped"),
        ("--drivers", "held,eased", "--beside", "dry"),
    ):
        ran = run("playback", "wet_leaf", *more, "--out", tmp_path / "new")
        assert ran.code == 2 and ran.err.count("\n") == 1 and "two stops" in ran.err
        assert not (tmp_path / "new").exists()
