"""The scenario: everything that is tested, in SI, checked whenever one is made."""

import dataclasses
import html
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple, NoReturn

from slipbench.ground.telling import shown
from slipbench.scenario.acting import inert_because
from slipbench.scenario.brake import Brake, SlipControl
from slipbench.scenario.change import changed
from slipbench.scenario.contact import Contact
from slipbench.scenario.driver import Driver
from slipbench.scenario.equipment import Equipment
from slipbench.scenario.fault import Fault
from slipbench.scenario.fields import (
    FieldProblem,
    Record,
    default_of,
    part,
    parts,
    quantity,
    record,
    specs_of,
    take,
    text,
)
from slipbench.scenario.provenance import Provenance
from slipbench.scenario.rail import CurveSection, GradientSection, Rail, check_line
from slipbench.scenario.run import Run
from slipbench.scenario.sander import Sander
from slipbench.scenario.sensing import Sensing
from slipbench.scenario.train import Train

MAXIMUM_DELAY_SAMPLES = 14  # valve delays are kept in a buffer of fixed length

FLATTEST_CONTACT = 0.05
"""Least curvature of tread and rail head together, across: flatter, and the patch would be wider
than the head (and Hertz's bodies would not touch at a point at all from 0 down). [1/m]"""


class ScenarioValue(NamedTuple):
    """One value of a scenario with all that is known about it.

    `mark` is published, secondary, memory, derived or assumed as the file says; "given" where the
    file or the caller says nothing; "default" for a library default, whose own mark then opens
    `source`.
    """

    path: str
    value: object
    unit: str
    mark: str
    source: str
    doc: str


@record
class Scenario(Record):
    """One stop to be simulated: train, brake, rail, driver, sensing and how to compute it."""

    name: str = text(doc="Short name.")
    title: str = text(doc="What it is, in one line.")
    initial_speed: float = quantity("speed", low=0.5, high=120.0, doc="Train speed at the start.")
    train: Train = part(Train, doc="The train.")
    brake: Brake = part(Brake, doc="The brake equipment.")
    slip_control: SlipControl = part(
        SlipControl, default_factory=SlipControl, doc="The slip control's sampling."
    )
    rail: Rail = part(Rail, doc="The rail.")
    contact: Contact = part(Contact, default_factory=Contact, doc="The contact and its creep law.")
    sanders: tuple[Sander, ...] = parts(
        Sander, key="sander", default=(), min_items=0, max_items=100, doc="Sanders, if any."
    )
    gradient: tuple[GradientSection, ...] = parts(
        GradientSection,
        key="gradient",
        default=(),
        min_items=0,
        max_items=10_000,
        doc="Gradients in order; level before the first.",
    )
    curves: tuple[CurveSection, ...] = parts(
        CurveSection,
        key="curve",
        default=(),
        min_items=0,
        max_items=10_000,
        doc="Curves in order; straight before the first.",
    )
    faults: tuple[Fault, ...] = parts(
        Fault, key="fault", default=(), min_items=0, max_items=100, doc="What breaks, if anything."
    )
    driver: Driver = part(Driver, doc="The driver.")
    sensing: Sensing = part(Sensing, doc="Speed sensing.")
    equipment: Equipment = part(
        Equipment, default_factory=Equipment, doc="The condition the equipment is in."
    )
    run: Run = part(Run, default_factory=Run, doc="Computation and counting.")
    provenance: Mapping[str, Provenance] = dataclasses.field(
        default_factory=dict, compare=False, repr=False
    )

    def check_together(self) -> None:
        """Check what concerns several parts at once."""
        spacing = self.train.smallest_axle_spacing
        if self.rail.cell_length > 0.5 * spacing * (1.0 + 1e-9):  # 14.9 - 12.3 is below 2.6
            self._refuse_at(
                "rail.cell_length",
                self.rail.cell_length,
                f"must be at most half the smallest axle spacing of {spacing:g} m, "
                f"so at most {0.5 * spacing:g} m",
            )
        self._check_delays()
        self._check_air()
        self._check_tread()
        self._check_driver()
        self._check_sanders()
        self._check_measured_law()
        self._check_faults()
        self._check_blending()
        check_line(self, self.gradient, self.curves)

    def _check_driver(self) -> None:
        """Check that the handle is moved to where it can stand."""
        for i, entry in enumerate(self.driver.programme):
            if entry.position > self.brake.emergency_position:
                self._refuse_at(
                    f"driver.programme.{i}.position",
                    entry.position,
                    f"the brake has {self.brake.n_steps} steps, so a position is from 0 (release) "
                    f"to {self.brake.emergency_position} (emergency)",
                )
            if entry.level is not None and self.brake.controller_levels is None:
                self._refuse_at(
                    f"driver.programme.{i}.level",
                    entry.level,
                    "needs a continuous handle: brake.controller_levels and _demands",
                )
        easing = self.driver.easing
        if easing is not None and easing.position > self.brake.n_steps:
            self._refuse_at(
                "driver.easing.position", easing.position, f"a step from 0 to {self.brake.n_steps}"
            )

    def _check_sanders(self) -> None:
        for i, sander in enumerate(self.sanders):
            if sander.axle > self.train.n_axles:
                self._refuse_at(
                    f"sanders.{i}.axle",
                    sander.axle,
                    f"the train has {self.train.n_axles} axles, so from 1 to {self.train.n_axles}",
                )
            if sander.from_step > self.brake.emergency_position:
                self._refuse_at(
                    f"sanders.{i}.from_step",
                    sander.from_step,
                    f"the brake has {self.brake.n_steps} steps, emergency is "
                    f"{self.brake.emergency_position}",
                )

    def _check_measured_law(self) -> None:
        if self.contact.law != "measured":
            return
        for i, section in enumerate(self.rail.sections):
            if section.friction_ratio != 1.0:
                self._refuse_at(
                    f"rail.sections.{i}.friction_ratio",
                    section.friction_ratio,
                    "must be 1 with contact.law = measured: the curve brings its own fall",
                )

    def _check_faults(self) -> None:
        most = {
            "axle": self.train.n_axles,
            "vehicle": len(self.train.vehicles),
            "sander": len(self.sanders),
            "wire": max(self.brake.codes).bit_length(),
        }
        for i, fault in enumerate(self.faults):
            brake = self._brake_at(fault)
            if fault.kind == "supply_isolated" and brake.air != "flow":
                self._refuse_at(
                    f"faults.{i}.kind", fault.kind, "changes nothing unless brake.air = flow"
                )
            if fault.kind.startswith("load_weighed") and not brake.variable_load:
                self._refuse_at(
                    f"faults.{i}.kind", fault.kind, "changes nothing with brake.variable_load false"
                )
            self._check_fault_target(i, fault)
            for name, n_there in most.items():
                target = getattr(fault, name)
                if target is not None and target > n_there:
                    self._refuse_at(
                        f"faults.{i}.{name}", target, f"there are {n_there}; count from 1"
                    )

    def _brake_at(self, fault: Fault) -> Brake:
        """Return the brake of the vehicle a fault names; the train's where it names none."""
        i = fault.vehicle
        return self.brake if i is None or i > len(self.train.vehicles) else self.brake_of(i - 1)

    def brake_of(self, i_vehicle: int) -> Brake:
        """Return the brake of one vehicle: the train's, with the values that are its own."""
        own = self.train.vehicles[i_vehicle].brake
        return self.brake if own is None else own.over(self.brake)

    def _check_delays(self) -> None:
        """Check that valve delays find room in the queue of commands, vehicle by vehicle."""
        longest = MAXIMUM_DELAY_SAMPLES * self.slip_control.sample_time
        slowest = self.equipment.condition.slowest_valve
        for i, vehicle in enumerate(self.train.vehicles):
            try:
                brake = self.brake_of(i)
            except FieldProblem as problem:
                where = f"train.vehicles.{i}.brake.{problem.key}"
                raise FieldProblem("", where, problem.value, problem.detail) from None
            if brake.n_steps != self.brake.n_steps:
                self._refuse_at(
                    f"train.vehicles.{i}.brake.steps",
                    list(brake.steps),
                    f"must be {self.brake.n_steps}, as many as the handle has (brake.steps)",
                )
            if brake.demand_delay < self.brake.demand_delay:
                self._refuse_at(
                    f"train.vehicles.{i}.brake.demand_delay",
                    brake.demand_delay,
                    f"must be at least the train's, {self.brake.demand_delay:g} s: further along "
                    "the train the demand comes no sooner",
                )
            for name in ("fill_delay", "vent_delay"):
                mechanical, electrical = getattr(brake, name), brake.electrical_delay
                # 14 * 0.071 is just below 0.994
                if (electrical + mechanical) * slowest > longest * (1.0 + 1e-9):
                    worn = f" (valves up to {slowest:g} times as slow: equipment.grade)"
                    is_own = vehicle.brake is not None and getattr(vehicle.brake, name) is not None
                    self._refuse_at(
                        f"train.vehicles.{i}.brake.{name}" if is_own else f"brake.{name}",
                        mechanical,
                        f"must be, with brake.electrical_delay, at most {MAXIMUM_DELAY_SAMPLES} "
                        f"sample times of slip_control, so at most "
                        f"{longest / slowest - electrical:.3g} s{worn if slowest > 1.0 else ''}",
                    )

    def _check_blending(self) -> None:
        """Check that prefilled cylinders do not brake in earnest."""
        blending = self.train.blending
        most = self.brake.spring_pressure + 0.2 * self.brake.full_pressure
        if blending is not None and blending.prefill_pressure > most:
            self._refuse_at(
                "train.blending.prefill_pressure",
                blending.prefill_pressure,
                f"must be at most the spring's and a fifth of the full pressure, {most:g} Pa",
            )

    def _check_fault_target(self, i: int, fault: Fault) -> None:
        """Check that what breaks is there."""
        if fault.kind == "line_lost" and not self.train.has_dynamic_brake:
            self._refuse_at(f"faults.{i}.kind", fault.kind, "no vehicle has a dynamic_brake")
        part = {"dynamic_brake_lost": "dynamic_brake", "track_brake_lost": "track_brake"}.get(
            fault.kind
        )
        if part is None or fault.vehicle is None or fault.vehicle > len(self.train.vehicles):
            return
        if getattr(self.train.vehicles[fault.vehicle - 1], part) is None:
            self._refuse_at(f"faults.{i}.vehicle", fault.vehicle, f"has no {part}")

    def _check_tread(self) -> None:
        """Check that a hollow tread and the rail head touch at a point."""
        curvature, head = self.contact.wheel_profile_curvature, 1.0 / self.rail.crown_radius
        if curvature + head < FLATTEST_CONTACT:
            self._refuse_at(
                "contact.wheel_profile_curvature",
                curvature,
                f"a tread so hollow lies against the rail head (rail.crown_radius "
                f"{self.rail.crown_radius:g} m); at least {FLATTEST_CONTACT - head:.4g} 1/m",
            )

    def _check_air(self) -> None:
        """Check that what compressors need is there."""
        train = self.train
        airs = [self.brake_of(i).air for i in range(len(train.vehicles))]
        if train.has_main_reservoirs and "flow" not in airs:
            self._refuse_at(
                "train.vehicles",
                [vehicle.main_reservoir_volume for vehicle in train.vehicles],
                'main_reservoir_volume needs brake.air = "flow"',
            )
        for i, vehicle in enumerate(train.vehicles):
            for name in ("compressor_flow", "auxiliary_flow"):
                if getattr(vehicle, name) > 0.0 and not train.has_main_reservoirs:
                    self._refuse_at(
                        f"train.vehicles.{i}.{name}",
                        getattr(vehicle, name),
                        "needs a main reservoir on some vehicle: main_reservoir_volume",
                    )

    def _refuse_at(self, path: str, value: object, detail: str) -> NoReturn:
        take(FieldProblem("", path, shown(value), detail))

    def replace(self, changes: Mapping[str, Any] | None = None, /, **more: Any) -> "Scenario":
        """Return a changed copy, checked like any other scenario.

        Parameters
        ----------
        changes : mapping of str to value
            Dotted path to new value in SI, such as `{"brake.build_up_time": 2.0}`. List items are
            counted from 0; `*` stands for every item (`"rail.sections.*.friction"`).
        **more
            The same, as keywords: `initial_speed=33.5` or `**{"train.load": 1.0}`.

        Returns
        -------
        Scenario
            All changes are applied before anything is checked. Where `brake.steps` gets another
            length and the driver is not changed, entries at emergency stay at emergency. Changed
            values lose their provenance.

        Raises
        ------
        InputError
            If a path is unknown or a value does not fit.
        """
        return changed(self, {**(changes or {}), **more})

    def __repr__(self) -> str:
        """Return a short account for a terminal."""
        rows = self._rows()
        return "\n".join([f"{self.name}: {self.title}", *(f"  {k:<8}{text}" for k, text in rows)])

    def _repr_html_(self) -> str:
        """Return the same account for a notebook."""
        rows = "".join(
            f"<tr><th style='text-align:left'>{html.escape(label)}</th>"
            f"<td style='text-align:left'>{html.escape(text)}</td></tr>"
            for label, text in self._rows()
        )
        title = f"<b>{html.escape(self.name)}</b>: {html.escape(self.title)}"
        return f"<table><caption>{title}</caption>{rows}</table>"

    def _rows(self) -> list[tuple[str, str]]:
        train, brake, rail = self.train, self.brake, self.rail
        frictions = [section.friction for section in rail.sections]
        low, high = min(frictions), max(frictions)
        friction = f"{low:g}" if low == high else f"{low:g} to {high:g}"
        if rail.random is not None:
            friction = f"drawn, median {rail.random.median_friction:g}"
        steps = ", ".join(f"{step:g}" for step in brake.steps)
        first = self.driver.programme[0].position
        moves = len(self.driver.programme)
        extras = {"sander": self.sanders, "gradient": self.gradient, "curve": self.curves}
        extras["fault"] = self.faults
        more = [
            f"{len(items)} {name}{'s' * (len(items) > 1)}"
            for name, items in extras.items()
            if items
        ]
        rows = [
            ("from", f"{self.initial_speed:.2f} m/s ({self.initial_speed / 0.44704:.0f} mph)"),
            (
                "train",
                f"{train.name}; {len(train.vehicles)} vehicles, {train.n_axles} axles, "
                f"{train.length:.0f} m, {train.mass / 1e3:.0f} t",
            ),
            (
                "brake",
                f"steps {steps} m/s2, emergency {brake.emergency_demand:g}; air by {brake.air}",
            ),
            (
                "rail",
                f"friction {friction}; sections {len(rail.sections)}; {self.contact.law}",
            ),
            ("driver", f"position {first} first; movements {moves}"),
        ]
        return rows + ([("with", ", ".join(more))] if more else [])

    def values(self) -> Iterator[ScenarioValue]:
        """Yield every value that acts, with its SI unit, mark, source and meaning."""
        yield from _values_of(self, self, "", self.provenance)


def _values_of(
    root: Record, owner: Record, prefix: str, provenance: Mapping[str, Provenance]
) -> Iterator[ScenarioValue]:
    for name, spec in specs_of(type(owner)).items():
        if inert_because(root, owner, name):
            continue
        value, path = getattr(owner, name), prefix + name
        implied = owner.implied(name) if value is None else None
        if implied is not None:
            yield ScenarioValue(path, implied.value, spec.unit_text, *implied[1:], spec.doc)
        if value is None:
            continue
        if spec.kind == "record":
            items = enumerate(value) if spec.is_list else [("", value)]
            for i, item in items:
                inner = f"{path}.{i}." if spec.is_list else f"{path}."
                yield from _values_of(root, item, inner, provenance)
            continue
        origin = provenance.get(path)
        if origin is not None:
            mark, source = origin.mark, origin.source
        elif value == default_of(type(owner), name):
            mark, source = "default", f"{spec.mark}: {spec.source}"
        else:
            mark, source = "given", ""
        yield ScenarioValue(path, value, spec.unit_text, mark, source, spec.doc)
