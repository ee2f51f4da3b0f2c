"""Checks of what the contract asks and the record declares.

Each tries to refute one claim and returns what is wrong in one line, or None.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from slipbench.conformance.evidence import LONG_STOP, Evidence
from slipbench.conformance.inputs import (
    extreme_observations,
    for_axles,
    odd_train,
    scrambled,
    speed_sweep,
)
from slipbench.conformance.recording import (
    OUTPUTS,
    Recording,
    UpdateFailed,
    call_update,
    first_difference,
    play,
    record_stop,
)
from slipbench.conformance.state import kept_state
from slipbench.contract import OBSERVED, SAMPLE_TIME, WHEEL_SPEED, Floats, Update
from slipbench.scenario import Brake
from slipbench.scenario.fields import specs_of

ODD_SIZES = (1, 2, 3, 4, 6, 8, 12, 12)
"""Axles of the vehicles of the longest train tried: 48 in all."""

REPEATED = 10.0
"""Length of the stop that is run again. [s]"""

MOST_FACTOR = specs_of(Brake)["demand_factor_limit"].high or 1.0
"""No equipment exceeds the driver's demand by more. [-]"""

BOUND_CALLS = 600
"""Calls tried with each parameter at each bound."""

STATE_CALLS = 500
"""Calls before and after which what a function can keep is looked at."""

SLIDING_CALLS = slice(300, 330)
"""Calls of the fast stop shown in every number of axles: sliding has begun."""

GUARD = 64
"""Rows kept before and behind each array that an update function may write."""


def runs_a_stop(evidence: Evidence) -> str | None:
    """Refute: it runs through a stop in the Python loop, and through one from 33 m/s."""
    return evidence.recorded.refusal or evidence.recorded_fast.refusal or None


def starts_afresh(evidence: Evidence) -> str | None:
    """Refute: nothing lives on but its memory, so zero memory is a fresh start."""
    again = evidence.play(evidence.recording.observations)
    return first_difference(evidence.recording, again, *OUTPUTS)


def same_bits_per_seed(evidence: Evidence) -> str | None:
    """Refute: a stop run again with its seed is the same to the last bit, over `REPEATED` s."""
    first = evidence.recorded.vehicles
    longest = min(REPEATED, evidence.scenario.run.maximum_time)
    scenario = evidence.scenario.replace({"run.maximum_time": longest})
    second = record_stop(evidence.controller, scenario, evidence.seed).vehicles
    for whole, repeated in zip(first, second, strict=True):
        n_calls = min(len(whole), len(repeated))
        begun, again_begun = whole.first(n_calls), repeated.first(n_calls)
        problem = first_difference(begun, again_begun, *OUTPUTS, "observations")
        if problem:
            return problem
    return None


def fills_commands(evidence: Evidence) -> str | None:
    """Refute: every call writes every command, whatever stood there."""
    blank = evidence.play(evidence.recording.observations, is_carried=False)
    return first_difference(evidence.recording, blank, *OUTPUTS)


def valid_on_recorded(evidence: Evidence) -> str | None:
    """Refute: in a stop its commands are valid, its memory and signals finite."""
    problems = [evidence.invalid(recording) for recording in evidence.recordings]
    return next((problem for problem in problems if problem), None)


def keeps_no_state(evidence: Evidence) -> str | None:
    """Refute: a call leaves nothing behind but its memory: no global, attribute or closure."""
    before = kept_state(evidence.update)
    evidence.play(evidence.recording.observations[:STATE_CALLS])
    after = kept_state(evidence.update)
    changed = sorted(name for name in before | after if before.get(name) != after.get(name))
    if not changed:
        return None
    return f"{', '.join(changed)} changed over {STATE_CALLS} calls; only memory may keep anything"


def valid_at_every_speed(evidence: Evidence) -> str | None:
    """Refute: the same at every speed from 120 m/s down to rest and up again."""
    seen = speed_sweep(evidence.controller)
    problem = evidence.invalid(played := evidence.play_quickly(seen))
    if problem is None:
        return None
    is_bad = ~np.isfinite(played.memories).all(axis=(1, 2)) | ~np.isfinite(played.commands).all(
        axis=(1, 2)
    )
    first = int(is_bad.argmax())
    where = f" [first at {seen[first, 0, WHEEL_SPEED]:.2f} m/s]" if is_bad.any() else ""
    return f"{problem}{where}"


def valid_on_extremes(evidence: Evidence) -> str | None:
    """Refute: the same on extreme finite observations, sampled every 1, 10 and 100 ms."""
    for sample_time in (0.001, 0.01, 0.1):
        seen = extreme_observations(evidence.controller, 4, sample_time)
        problem = evidence.invalid(evidence.play(seen))
        if problem:
            return f"{problem} [{sample_time:g} s a sample]"
    return None


def valid_at_bounds(evidence: Evidence) -> str | None:
    """Refute: the same with each parameter at either of its bounds."""
    seen = evidence.recording.observations[:BOUND_CALLS]
    for parameter in evidence.controller.parameters:
        for bound in (parameter.low, parameter.high):
            changed = evidence.controller.with_parameters(**{parameter.name: bound})
            # a parameter may say what the equipment can do: grant the most that any can
            problem = evidence.invalid(play(evidence.update, changed, seen), MOST_FACTOR)
            if problem:
                return f"{problem} [{parameter.name} = {bound:g} {parameter.unit}]"
    return None


def memory_bounded(evidence: Evidence) -> str | None:
    """Refute: over a long stop of recorded and extreme observations its memory stays bounded."""
    sample_time = 0.1
    recorded = evidence.recording.observations
    extreme = extreme_observations(evidence.controller, recorded.shape[1], sample_time)
    seen = np.concatenate([recorded, extreme])
    seen = np.tile(seen, (math.ceil(LONG_STOP / sample_time / len(seen)), 1, 1))
    seen[..., SAMPLE_TIME] = sample_time
    largest = float(np.abs(evidence.play(seen).memories).max())
    if largest <= evidence.memory_bound:
        return None
    return f"reaches {largest:g} within {LONG_STOP:g} s (allowed: {evidence.memory_bound:g})"


def observes_as_declared(evidence: Evidence) -> str | None:
    """Refute: commands and signals do not depend on a column it does not declare."""
    hidden = [i for i, name in enumerate(OBSERVED) if name not in evidence.controller.observes]
    shown: list[tuple[Recording, Callable[[Floats], Recording]]] = []
    shown += [(evidence.recording, evidence.play)]
    shown += [(own, evidence.play_quickly) for own in evidence.recorded_fast.vehicles[:1]]
    for recording, show in shown:
        problem = _depends(recording, show, hidden)
        if problem is not None:
            culprits = [
                OBSERVED[column] for column in hidden if _depends(recording, show, [column])
            ]
            return f"depends on {' and '.join(culprits) or 'undeclared columns'}: {problem}"
    return None


def _depends(
    recording: Recording, show: Callable[[Floats], Recording], columns: list[int]
) -> str | None:
    changed = show(scrambled(recording.observations, columns))
    return first_difference(recording, changed, "commands", "signals")


def permutes_as_claimed(evidence: Evidence) -> str | None:
    """Refute, where `is_permutable` is declared: the order of the axles does not matter."""
    if not evidence.controller.is_permutable:
        return None
    recording, generator = evidence.recording, np.random.default_rng(2)
    parameters = evidence.controller.parameter_values
    for i_call in range(0, len(recording), max(1, len(recording) // 500)):
        order = generator.permutation(recording.observations.shape[1])
        rows = [*order, len(order)]  # the vehicle's row stays last
        memory = recording.memories_before[i_call][rows]
        command = np.full((len(order), evidence.controller.n_command), np.nan)
        signals = recording.signals_before[i_call].copy()
        shuffled = recording.observations[i_call][order]
        call_update(evidence.update, parameters, shuffled, (memory, command, signals))
        for name, got, expected in (
            ("command", command, recording.commands[i_call][order]),
            ("memory", memory, recording.memories[i_call][rows]),
            ("signals", signals, recording.signals[i_call]),
        ):
            # sums over axles taken in another order differ by roundings: 48 axles, 1e-16 each
            if not np.allclose(got, expected, rtol=1e-12, atol=1e-12):
                return f"{name} differs at call {i_call} with axles in order {order.tolist()}"
    return None


def python_equals_compiled(evidence: Evidence) -> str | None:
    """Refute: compiled, it gives the same bits from the same state, call by call."""
    recording, rows = evidence.recording, []
    parameters = evidence.controller.parameter_values
    for i_call in range(len(recording)):
        before = (
            recording.memories_before[i_call].copy(),
            recording.commands_before[i_call].copy(),
            recording.signals_before[i_call].copy(),
        )
        rows.append(
            call_update(evidence.compiled, parameters, recording.observations[i_call], before)
        )
    compiled = Recording(*(np.array(column) for column in zip(*rows, strict=True)))
    return first_difference(recording, compiled, *OUTPUTS)


def serves_any_number_of_axles(evidence: Evidence) -> str | None:
    """Refute: it runs with 1 to 48 axles.

    In stops of one axle and of vehicles of 1 to 12 (the train whole in that scope); and shown what
    sliding axles measure, in every number from 1 to 48.
    """
    for sizes in ((1,), ODD_SIZES):
        recorded = record_stop(evidence.controller, odd_train(sizes), evidence.seed)
        problems = [recorded.refusal, *(evidence.invalid(own) for own in recorded.vehicles)]
        problem = next((problem for problem in problems if problem), None)
        if problem:
            return f"{problem} [vehicles of {', '.join(map(str, sizes))} axles]"
    fast = evidence.recorded_fast
    if not fast.vehicles:
        return fast.refusal or "never called"
    sliding = fast.vehicles[0].observations[SLIDING_CALLS]
    for n_axles in range(1, sum(ODD_SIZES) + 1):
        try:
            problem = evidence.invalid(evidence.play_quickly(for_axles(sliding, n_axles)))
        except UpdateFailed as failure:
            problem = str(failure)
        if problem:
            return f"{problem} [{n_axles} axles]"
    return None


def _guarded(array: Floats, padding: float) -> tuple[Floats, Floats]:
    """Return a larger array filled with padding, and the view inside it that holds `array`."""
    whole = np.full((len(array) + 2 * GUARD, *array.shape[1:]), padding)
    inside = whole[GUARD:-GUARD]
    inside[:] = array
    return whole, inside


def _strays(evidence: Evidence, update: Update, i_call: int) -> str | None:
    """Return how a call reads or writes outside its arrays, None where it does not."""
    recording = evidence.recording
    given = (
        recording.memories_before[i_call],
        recording.commands_before[i_call],
        recording.signals_before[i_call],
    )
    results = []
    for padding in (1234.5, -7e7):
        pairs = [_guarded(array, padding) for array in given]
        views = (pairs[0][1], pairs[1][1], pairs[2][1])
        seen = _guarded(recording.observations[i_call], padding)[1]
        parameters = evidence.controller.parameter_values
        values = parameters.tolist()
        try:
            with np.errstate(all="ignore"):
                update(seen, parameters, *views)
        except Exception as problem:
            return f"raised {type(problem).__name__}: {problem}"
        for name, (whole, _) in zip(("memory", "command", "signals"), pairs, strict=True):
            if (whole[:GUARD] != padding).any() or (whole[-GUARD:] != padding).any():
                return f"writes outside its rows of {name} at call {i_call}"
        if seen.tobytes() != recording.observations[i_call].tobytes():
            return f"changes its observation at call {i_call}"
        if parameters.tolist() != values:
            return f"changes its parameters at call {i_call}"
        results.append(b"".join(view.tobytes() for view in views))
    return None if results[0] == results[1] else f"reads outside its arrays at call {i_call}"


def _stays_inside(evidence: Evidence, update: Update) -> str | None:
    n_calls = len(evidence.recording)
    for i_call in range(0, n_calls, max(1, n_calls // 300)):
        problem = _strays(evidence, update, i_call)
        if problem:
            return problem
    return None


def stays_inside(evidence: Evidence) -> str | None:
    """Refute: it writes its own memory, command and signals only."""
    return _stays_inside(evidence, evidence.update)


def stays_inside_compiled(evidence: Evidence) -> str | None:
    """Refute: compiled, where no index is checked, it writes and reads inside its arrays only."""
    return _stays_inside(evidence, evidence.compiled)
