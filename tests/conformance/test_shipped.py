"""Every shipped strategy against every check."""

from collections.abc import Callable

import pytest

from slipbench.conformance import CHECKS, Check, Evidence, check_controller, run_check
from slipbench.contract import Controller, Floats
from slipbench.controllers import ALL_CONTROLLERS, by_name

EvidenceOf = Callable[[Controller], Evidence]
each_controller = pytest.mark.parametrize("controller", ALL_CONTROLLERS, ids=lambda c: c.name)


def checks(is_report_only: bool) -> pytest.MarkDecorator:
    chosen = [check for check in CHECKS if check.is_report_only == is_report_only]
    return pytest.mark.parametrize("check", chosen, ids=lambda check: check.name)


@each_controller
@checks(is_report_only=False)
def test_shipped_strategy_passes(
    controller: Controller, check: Check, evidence_of: EvidenceOf
) -> None:
    finding = run_check(check, evidence_of(controller))
    assert finding is None, str(finding)


@each_controller
@checks(is_report_only=True)
def test_shipped_strategy_against_service_rules(
    controller: Controller, check: Check, evidence_of: EvidenceOf
) -> None:
    """The limit is a value from memory, so a finding is reported as xfail and fails nothing."""
    finding = run_check(check, evidence_of(controller))
    if finding is not None:
        assert finding.is_report_only
        pytest.xfail(str(finding))


def test_what_judges_each_axle_by_itself_claims_that_their_order_does_not_matter() -> None:
    claiming = {controller.name for controller in ALL_CONTROLLERS if controller.is_permutable}
    assert claiming == {"none", "speed_difference", "deceleration", "peak_follower"}


def test_the_recorded_stop_exercises_the_protected_strategies(evidence_of: EvidenceOf) -> None:
    """A recording in which nothing slides would let every strategy pass."""
    for name in ("speed_difference", "deceleration", "slip_band"):
        recording = evidence_of(by_name(name)).recording
        valves = set(recording.commands[..., 0].ravel().tolist())
        assert valves == {0.0, 1.0, 2.0}, name
        assert set(recording.signals[:, 0].tolist()) == {0.0, 1.0}, name


def broken(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    raise RuntimeError("at once")


def test_check_controller_reports_every_refuted_claim() -> None:
    found = check_controller(Controller(name="broken", title="-", update=broken), compiled=False)
    at_once = [finding.check for finding in found if "RuntimeError: at once" in finding.problem]
    silent = {
        "axles may be permuted, if claimed",  # not claimed
        "same bits for the same seed",  # it does fail in the same way
        "lets a rolling wheel brake",  # no stop to look at
        "gives up on a dead sensor",
        "valid on recorded observations",
        "vents within the equipment's limit",
    }
    expected = {check.name for check in CHECKS if not check.needs_compiled} - silent
    assert set(at_once) == expected
    assert len(found) == len(at_once)
