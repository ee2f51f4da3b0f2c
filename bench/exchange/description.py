"""What a unit says of itself: its `modelDescription.xml`, FMI 2.0 or 3.0."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import NoReturn
from xml.parsers import expat

from slipbench.ground.errors import InputError
from slipbench.ground.telling import message, shown

MOST_VARIABLES = 100_000
MOST_DEPTH = 40
MOST_VALUES = 100_000

NUMBERS = {
    "Real": "float64", "Integer": "int32", "Enumeration": "int32", "Boolean": "int32",
    "Float64": "float64", "Float32": "float32", "Int8": "int8", "UInt8": "uint8", "Int16": "int16",
    "UInt16": "uint16", "Int32": "int32", "UInt32": "uint32", "Int64": "int64", "UInt64": "uint64",
}  # fmt: skip
"""Kinds of variables that hold numbers, and how their values travel (FMI 2.0's booleans as int)."""

OTHERS = ("String", "Binary", "Clock")


@dataclass(frozen=True)
class Variable:
    """One variable of a unit.

    Attributes
    ----------
    name : str
    reference : int        its value reference
    kind : str             `Real`, `Integer`, `Boolean`, `Enumeration`, `String`; 3.0: `Float64` ...
    causality : str        `input`, `output`, `parameter`, `structuralParameter`, `local` ...
    variability : str
    start : tuple of float or None
    unit : str             as the unit writes it, empty for none
    low, high : float or None    bounds, in its unit
    dimensions : tuple     of 3.0: an int, or `("variable", reference)` of a structural parameter
    """

    name: str
    reference: int
    kind: str
    causality: str
    variability: str = "continuous"
    start: tuple[float, ...] | None = None
    unit: str = ""
    low: float | None = None
    high: float | None = None
    dimensions: tuple[int | tuple[str, int], ...] = ()
    description: str = ""


@dataclass(frozen=True)
class BaseUnit:
    """A unit of measurement as the description defines it: SI value = factor * value + offset."""

    exponents: Mapping[str, int]
    factor: float = 1.0
    offset: float = 0.0


@dataclass(frozen=True)
class Description:
    """A unit for co-simulation as it describes itself.

    Attributes
    ----------
    version : str              `2.0` or `3.0`
    token : str                guid, or instantiation token
    identifier : str           name of its library
    can_vary_step : bool       it takes communication steps of any length
    own_step : float or None   fixed internal step (3.0), else the step it proposes. [s]
    has_fixed_step : bool      that step is fixed, not proposed
    only_once : bool           one instance a process
    """

    version: str
    name: str
    token: str
    identifier: str
    variables: tuple[Variable, ...]
    units: Mapping[str, BaseUnit] = field(default_factory=dict)
    tool: str = ""
    text: str = ""
    can_vary_step: bool = False
    own_step: float | None = None
    has_fixed_step: bool = False
    only_once: bool = False
    no_allocator: bool = False
    can_keep_state: bool = False
    can_serialise_state: bool = False

    @cached_property
    def by_name(self) -> Mapping[str, Variable]:
        """The variables by name."""
        return {variable.name: variable for variable in self.variables}

    @cached_property
    def _by_reference(self) -> Mapping[int, Variable]:
        return {variable.reference: variable for variable in self.variables}

    def of(self, *causalities: str) -> tuple[Variable, ...]:
        """Return the variables of some causalities, in their order."""
        return tuple(v for v in self.variables if v.causality in causalities)

    def size_of(self, variable: Variable) -> int:
        """Return how many values a variable has, by the start values of what sizes it."""
        size = 1
        for one in variable.dimensions:
            if isinstance(one, tuple):
                start = self._by_reference[one[1]].start if one[1] in self._by_reference else None
                one = int(start[0]) if start else 0
            size *= one
        return size


class _Refused(Exception):
    pass


def _look_over(content: bytes) -> None:
    """Refuse what no description needs, before a tree is built: entities, endless depth."""
    parser = expat.ParserCreate()
    depth = n_elements = 0

    def doctype(*_: object) -> NoReturn:
        raise _Refused("declares a document type (entities); no description needs one")

    def begin(*_: object) -> None:
        nonlocal depth, n_elements
        depth, n_elements = depth + 1, n_elements + 1
        if depth > MOST_DEPTH or n_elements > 20 * MOST_VARIABLES:
            raise _Refused("is nested too deeply, or endless")

    def end(*_: object) -> None:
        nonlocal depth
        depth -= 1

    parser.StartDoctypeDeclHandler = doctype
    parser.StartElementHandler, parser.EndElementHandler = begin, end
    parser.Parse(content, True)


def parse_description(content: bytes, where: str) -> Description:
    """Return what a description says.

    Parameters
    ----------
    content : bytes   of `modelDescription.xml`
    where : str       names the unit in messages, as `unit PATH`

    Raises
    ------
    InputError   one line: not XML, of another version, not for co-simulation, or incomplete
    """
    at = f"{where}: modelDescription.xml"
    try:
        _look_over(content)
        root = ElementTree.fromstring(content)
    except _Refused as problem:
        raise InputError(f"{at}: {problem}") from None
    except (expat.ExpatError, ElementTree.ParseError, LookupError, ValueError) as problem:
        raise InputError(f"{at}: not XML: {message(str(problem))}") from None
    version = root.get("fmiVersion", "")
    short = re.match(r"[23]\.0", version)
    if root.tag != "fmiModelDescription" or short is None:
        raise InputError(f"{at}: fmiVersion {shown(version)}; FMI 2.0 and 3.0 are read")
    return _Reader(at, root, short[0]).read()


class _Reader:
    """Reads one description; refuses in one line."""

    def __init__(self, at: str, root: ElementTree.Element, version: str) -> None:
        self.at, self.root, self.version = at, root, version

    def refuse(self, what: str) -> NoReturn:
        raise InputError(f"{self.at}: {what}")

    def text(self, element: ElementTree.Element, name: str, of: str = "") -> str:
        value = element.get(name)
        if not value:
            self.refuse(f"{of or element.tag} has no {name}")
        return value

    def number(self, element: ElementTree.Element, name: str) -> float | None:
        value = element.get(name)
        if value is None:
            return None
        return self._float(value, f"{element.tag} {shown(element.get('name'))}: {name}")

    def _float(self, text: str, of: str) -> float:
        lowered = text.strip().lower()
        if lowered in ("true", "false"):
            return float(lowered == "true")
        try:
            value = float(lowered)
        except ValueError:
            self.refuse(f"{of} = {shown(text)}; allowed: a number")
        if math.isnan(value):
            self.refuse(f"{of} = {shown(text)}; allowed: a number")
        return value

    def read(self) -> Description:
        kind = self.root.find("CoSimulation")
        if kind is None:
            self.refuse("is not for co-simulation; only co-simulation units are run")
        if kind.get("needsExecutionTool") == "true":
            self.refuse("needs the tool it was made with (needsExecutionTool); export it without")
        token = "guid" if self.version == "2.0" else "instantiationToken"
        identifier = self.text(kind, "modelIdentifier")
        if not re.fullmatch(r"[A-Za-z_]\w{0,200}", identifier, re.ASCII):
            self.refuse(f"modelIdentifier {shown(identifier)}; allowed: a name of the C language")
        fixed = self.number(kind, "fixedInternalStepSize")
        experiment = self.root.find("DefaultExperiment")
        proposed = None if experiment is None else self.number(experiment, "stepSize")
        own_step = fixed if fixed is not None else proposed
        if own_step is not None and not (0.0 < own_step < math.inf):
            self.refuse(f"step size {own_step:g} s; allowed: above 0 and finite")

        def says(name: str) -> bool:
            return kind.get(name, "false") in ("true", "1")

        state = "canGetAndSetFMUstate" if self.version == "2.0" else "canGetAndSetFMUState"
        whole = "canSerializeFMUstate" if self.version == "2.0" else "canSerializeFMUState"
        return Description(
            version=self.version,
            name=self.text(self.root, "modelName"),
            token=self.text(self.root, token),
            identifier=identifier,
            variables=self.variables(),
            units=self.units(),
            tool=self.root.get("generationTool", ""),
            text=self.root.get("description", ""),
            can_vary_step=says("canHandleVariableCommunicationStepSize"),
            own_step=own_step,
            has_fixed_step=fixed is not None,
            only_once=says("canBeInstantiatedOnlyOncePerProcess"),
            no_allocator=says("canNotUseMemoryManagementFunctions"),
            can_keep_state=says(state),
            can_serialise_state=says(whole),
        )

    def units(self) -> dict[str, BaseUnit]:
        found: dict[str, BaseUnit] = {}
        for element in self.root.iterfind("UnitDefinitions/Unit"):
            base = element.find("BaseUnit")
            if base is None:
                continue
            exponents: dict[str, int] = {}
            for name in ("kg", "m", "s", "A", "K", "mol", "cd", "rad"):
                power = self.number(base, name)
                if power:
                    exponents[name] = int(power)
            factor, offset = self.number(base, "factor"), self.number(base, "offset")
            if factor == 0.0:
                self.refuse(f"unit {shown(element.get('name'))}: factor 0")
            found[self.text(element, "name")] = BaseUnit(
                exponents, 1.0 if factor is None else factor, offset or 0.0
            )
        return found

    def variables(self) -> tuple[Variable, ...]:
        listed = self.root.find("ModelVariables")
        if listed is None:
            self.refuse("has no ModelVariables")
        if len(listed) > MOST_VARIABLES:
            self.refuse(f"{len(listed)} variables; at most {MOST_VARIABLES}")
        found = [self.variable(element) for element in listed]
        seen: set[str] = set()
        for variable in found:
            if variable.name in seen:
                self.refuse(f"two variables are called {shown(variable.name)}")
            seen.add(variable.name)
        return tuple(found)

    def variable(self, element: ElementTree.Element) -> Variable:
        name, typed = self.text(element, "name", "a variable"), element
        if self.version == "2.0":
            typed = next((e for e in element if e.tag in (*NUMBERS, *OTHERS)), element)
        kind = typed.tag
        if kind not in NUMBERS and kind not in OTHERS:
            self.refuse(f"variable {shown(name)}: type {shown(kind)} is unknown")
        reference = self._float(self.text(element, "valueReference", shown(name)), shown(name))
        if not (0 <= reference < 2**32 and reference == int(reference)):
            self.refuse(f"variable {shown(name)}: valueReference {reference:g}")
        start = typed.get("start")
        values = None
        if start is not None and kind not in OTHERS:
            values = tuple(self._float(word, f"{name}: start") for word in start.split())
        declared = self._declared(typed)
        return Variable(
            name=name,
            reference=int(reference),
            kind=kind,
            causality=element.get("causality", "local"),
            variability=element.get("variability", "continuous"),
            start=values,
            unit=typed.get("unit") or declared.get("unit", ""),
            low=self.number(typed, "min"),
            high=self.number(typed, "max"),
            dimensions=tuple(self._dimension(e, name) for e in typed.iterfind("Dimension")),
            description=element.get("description", ""),
        )

    @cached_property
    def _types(self) -> dict[str, ElementTree.Element]:
        listed = self.root.find("TypeDefinitions")
        found: dict[str, ElementTree.Element] = {}
        for element in listed if listed is not None else ():
            inner = next(iter(element), None) if self.version == "2.0" else element
            found[element.get("name", "")] = element if inner is None else inner
        return found

    def _declared(self, element: ElementTree.Element) -> Mapping[str, str]:
        name = element.get("declaredType", "")
        found = self._types.get(name)
        return {} if found is None else found.attrib

    def _dimension(self, element: ElementTree.Element, name: str) -> int | tuple[str, int]:
        fixed, reference = self.number(element, "start"), self.number(element, "valueReference")
        if reference is not None:
            return ("variable", int(reference))
        if fixed is None or not 0 < fixed <= MOST_VALUES:
            self.refuse(f"variable {shown(name)}: dimension {fixed}; allowed: 1 to {MOST_VALUES}")
        return int(fixed)
