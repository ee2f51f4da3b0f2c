"""What a strategy declares and what the contract asks of it, tried out: one small check a claim.

`CHECKS` lists the checks under plain names; `check_controller` runs them all over one strategy.
They try a few thousand calls, so they can refute a claim, never prove it.
"""

from slipbench.conformance.checks import CHECKS, Check, Refutation, check_controller, run_check
from slipbench.conformance.evidence import Evidence
from slipbench.conformance.recording import RecordedStop, Recording, play, record_stop

__all__ = [
    "CHECKS",
    "Check",
    "Evidence",
    "RecordedStop",
    "Recording",
    "Refutation",
    "check_controller",
    "play",
    "record_stop",
    "run_check",
]
