"""What is tested: train, brake equipment, rail, driver and sensing, as checked SI records.

The only place of the project that reads TOML, converts units and validates.
"""

from bench.scenario.brake import Brake, SlipControl
from bench.scenario.contact import Contact
from bench.scenario.driver import Driver, Easing, HandleEntry, IsolationPress, Routine
from bench.scenario.dry import DRY_RAIL, on_dry_rail
from bench.scenario.fault import Fault
from bench.scenario.handle_log import handle_log
from bench.scenario.profile import sections_from_csv
from bench.scenario.rail import CurveSection, GradientSection, Rail, RailSection, RandomFriction
from bench.scenario.reader import load_scenario, scenario_names
from bench.scenario.run import Run
from bench.scenario.sander import Sander
from bench.scenario.scenario import Scenario
from bench.scenario.sensing import Sensing
from bench.scenario.train import Train, Vehicle
from bench.scenario.units import parse_speed

__all__ = [
    "DRY_RAIL",
    "Brake",
    "Contact",
    "CurveSection",
    "Driver",
    "Easing",
    "Fault",
    "GradientSection",
    "HandleEntry",
    "IsolationPress",
    "Rail",
    "RailSection",
    "RandomFriction",
    "Routine",
    "Run",
    "Sander",
    "Scenario",
    "Sensing",
    "SlipControl",
    "Train",
    "Vehicle",
    "handle_log",
    "load_scenario",
    "on_dry_rail",
    "parse_speed",
    "scenario_names",
    "sections_from_csv",
]
