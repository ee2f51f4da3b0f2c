"""What is tested: train, brake equipment, rail, driver and sensing, as checked SI records.

The only place of the project that reads TOML, converts units and validates.
"""

from slipbench.scenario.brake import Brake, SlipControl
from slipbench.scenario.chain import driver_names, scenario_names, train_names
from slipbench.scenario.contact import Contact
from slipbench.scenario.driver import Driver, Easing, HandleEntry, IsolationPress, Routine
from slipbench.scenario.dry import DRY_RAIL, on_dry_rail
from slipbench.scenario.dynamic_brake import Blending, DynamicBrake
from slipbench.scenario.equipment import GRADES, Equipment
from slipbench.scenario.fault import Fault
from slipbench.scenario.handle_log import handle_log
from slipbench.scenario.profile import sections_from_csv
from slipbench.scenario.rail import CurveSection, GradientSection, Rail, RailSection, RandomFriction
from slipbench.scenario.reader import load_scenario, read_record
from slipbench.scenario.run import Run
from slipbench.scenario.sander import Sander
from slipbench.scenario.scenario import Scenario
from slipbench.scenario.sensing import Sensing
from slipbench.scenario.track_brake import TrackBrake
from slipbench.scenario.train import Train
from slipbench.scenario.units import parse_speed
from slipbench.scenario.vehicle import Vehicle
from slipbench.scenario.vehicle_brake import VehicleBrake

__all__ = [
    "DRY_RAIL",
    "GRADES",
    "Blending",
    "Brake",
    "Contact",
    "CurveSection",
    "Driver",
    "DynamicBrake",
    "Easing",
    "Equipment",
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
    "TrackBrake",
    "Train",
    "Vehicle",
    "VehicleBrake",
    "driver_names",
    "handle_log",
    "load_scenario",
    "on_dry_rail",
    "parse_speed",
    "read_record",
    "scenario_names",
    "sections_from_csv",
    "train_names",
]
