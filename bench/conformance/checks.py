"""The list of all checks, and how they are run over a strategy."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from slipbench.conformance import contract_checks as contract
from slipbench.conformance import service_checks as service
from slipbench.conformance.evidence import HELD_OFF_LIMIT, MEMORY_BOUND, Evidence
from slipbench.conformance.recording import UpdateFailed
from slipbench.contract import Controller


@dataclass(frozen=True)
class Check:
    """One claim and the function that tries to refute it."""

    name: str
    find: Callable[[Evidence], str | None]
    needs_compiled: bool = False


@dataclass(frozen=True)
class Refutation:
    """A claim that was refuted, and how."""

    check: str
    problem: str

    def __str__(self) -> str:
        """Return one line."""
        return f"{self.check}: {self.problem}"


CHECKS: tuple[Check, ...] = (
    Check("runs a whole stop", contract.runs_a_stop),
    Check("starts afresh from zero memory", contract.starts_afresh),
    Check("same bits for the same seed", contract.same_bits_per_seed),
    Check("writes every command on every call", contract.fills_commands),
    Check("valid on recorded observations", contract.valid_on_recorded),
    Check("keeps no state but its memory", contract.keeps_no_state),
    Check("valid at every speed", contract.valid_at_every_speed),
    Check("valid on extreme observations", contract.valid_on_extremes),
    Check("valid with parameters at their bounds", contract.valid_at_bounds),
    Check("memory stays bounded", contract.memory_bounded),
    Check("observes only what it declares", contract.observes_as_declared),
    Check("axles may be permuted, if claimed", contract.permutes_as_claimed),
    Check("Python equals compiled", contract.python_equals_compiled, needs_compiled=True),
    Check("serves 1 to 48 axles", contract.serves_any_number_of_axles),
    Check("keeps no brake off beyond the limit", service.keeps_no_brake_off),
    Check("bears any dead sensor", service.bears_a_dead_sensor),
    Check("is silent on dry rail", service.is_silent_on_dry_rail),
    Check("brakes at standstill", service.brakes_at_standstill),
    Check("keeps to its own arrays", contract.stays_inside),
    Check("keeps to its own arrays, compiled", contract.stays_inside_compiled, needs_compiled=True),
)
"""Every check, in the order they are run."""


def run_check(check: Check, evidence: Evidence) -> Refutation | None:
    """Run one check; an update function that raises is a finding, too."""
    try:
        problem = check.find(evidence)
    except UpdateFailed as failure:
        problem = str(failure)
    return None if problem is None else Refutation(check.name, problem)


def check_controller(
    controller: Controller,
    *,
    compiled: bool = True,
    held_off_limit: float = HELD_OFF_LIMIT,
    memory_bound: float = MEMORY_BOUND,
) -> tuple[Refutation, ...]:
    """Run every check over one strategy.

    Parameters
    ----------
    controller : Controller
    compiled : bool           False leaves out the checks that need it compiled; compiled code
                              checks no index, so a wild one may end the process
    held_off_limit : float    longest a brake may be kept off [s]
    memory_bound : float      no remembered number may pass this

    Returns
    -------
    tuple of Refutation   empty where nothing was refuted
    """
    evidence = Evidence(
        controller,
        runs_compiled=compiled,
        held_off_limit=held_off_limit,
        memory_bound=memory_bound,
    )
    checks = [check for check in CHECKS if compiled or not check.needs_compiled]
    findings = [run_check(check, evidence) for check in checks]
    return tuple(finding for finding in findings if finding is not None)
