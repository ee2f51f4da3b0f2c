"""What all tests need."""

import signal

import pytest

SHORTFALLS = {
    "test_step_size.py::test_distance_is_converged_at_the_default_step[peak_follower-tough_film]": "1.2e-5 where 1.0e-5 is claimed",
    "test_step_size.py::test_mean_distance_of_a_short_train_is_converged[detergent-deceleration]": "scatters more since speeds are filtered for real sensors: more seeds are needed",
    "test_step_size.py::test_running_ahead_of_samples_changes_no_mean[tough_film-slip_band]": "scatters more since speeds are filtered for real sensors: more seeds are needed",
    "test_tuning_all.py::test_dry_extension_is_that_of_the_stops": "no strategy is known any more that slides on dry rail",
    "test_field_cases.py::test_it_would_take_a_film_that_hardly_cleans": "slip control still below 6 mph lengthens the slide that was set against the record",
    "test_field_cases.py::test_no_redeposition_makes_up_for_it": "slip control still below 6 mph lengthens the slide that was set against the record",
    "test_supply.py::test_a_strategy_that_spares_air_keeps_a_full_application": "the wasteful strategy it names has become sparing",
}
"""Claims that do not hold yet, by the beginning of their test's name, each with its reason.

Strict: one that holds again fails until it is taken off this list.
"""


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--share",
        metavar="K/N",
        help="of the tests chosen, only the K-th of N shares (1/6), dealt out like cards",
    )


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Mark what is known to fall short, and leave the tests of other shares out.

    Over N runs with K from 1 to N every test runs once.
    """
    for item in items:
        for name, reason in SHORTFALLS.items():
            if name in item.nodeid:
                item.add_marker(pytest.mark.xfail(reason=reason, strict=True))
    said = config.getoption("--share")
    if said is None:
        return
    which, _, of = said.partition("/")
    if not (which.isdecimal() and of.isdecimal() and 1 <= int(which) <= int(of)):
        raise pytest.UsageError(f"--share {said}: must be K/N with K from 1 to N, such as 2/6")
    chosen = items[int(which) - 1 :: int(of)]
    config.hook.pytest_deselected(items=[item for item in items if item not in chosen])
    items[:] = chosen


@pytest.fixture(scope="session", autouse=True)
def interruptible():
    """Let Ctrl-C reach tests of interrupts in a suite started in the background, too.

    Shells start background jobs with interrupts ignored, and all they start inherit that.
    """
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)
