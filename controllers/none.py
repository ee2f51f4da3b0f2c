"""No slip control: the brake is applied as demanded, whatever the wheels do.

Principle: the valves stay in fill.
Observes: nothing.
Known weakness: on rail with less adhesion than demanded every braked wheel locks.
"""

from slipbench.contract import DEMAND_FACTOR, FILL, VALVE, Controller, Floats


def update(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    """Keep every valve in fill."""
    for i_axle in range(command.shape[0]):
        command[i_axle, VALVE] = FILL
        command[i_axle, DEMAND_FACTOR] = 1.0


CONTROLLER = Controller(
    name="none",
    title="no slip control: the brake stays applied, wheels may lock",
    update=update,
    observes=(),
    is_permutable=True,
)
