"""Every shipped strategy against every check."""

from collections.abc import Callable

import pytest
from tests.thinning import thinned

from slipbench.conformance import CHECKS, Check, Evidence, check_controller, run_check
from slipbench.contract import Controller, Floats
from slipbench.controllers import ALL_CONTROLLERS, by_name

EvidenceOf = Callable[[Controller], Evidence]
QUICK = [by_name(n) for n in ("none", "speed_difference", "slip_band", "cleaning_balance")]
"""Strategies of every run; the slow tests hold the others to the checks as well."""

each_controller = pytest.mark.parametrize(
    "controller", thinned(ALL_CONTROLLERS, QUICK), ids=lambda c: c.name
)


KNOWN: dict[tuple[str, str], str] = {}
"""Refuted claims that are known, with their reason."""


@each_controller
@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.name)
def test_shipped_strategy_passes(
    controller: Controller,
    check: Check,
    evidence_of: EvidenceOf,
    request: pytest.FixtureRequest,
) -> None:
    reason = KNOWN.get((controller.name, check.name))
    if reason is not None:
        request.applymarker(pytest.mark.xfail(reason=reason, strict=True))
    finding = run_check(check, evidence_of(controller))
    assert finding is None, str(finding)


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
        "valid on recorded observations",  # nothing to look at
        "keeps no brake off beyond the limit",
    }
    expected = {check.name for check in CHECKS if not check.needs_compiled} - silent
    assert set(at_once) == expected
    assert len(found) == len(at_once)
