"""Contact theory outside the hot loop: Hertz, Kalker coefficients, reference creep laws."""

from slipbench.contact.adhesion_speed import ADHESION_FORMULAS, adhesion_at_speed
from slipbench.contact.conditioning import conditioned_friction, degraded_recovered_adhesion
from slipbench.contact.hertz import ContactPatch, contact_patch, hertz_ellipse
from slipbench.contact.kalker import KalkerCoefficients, contact_stiffness, kalker_coefficients
from slipbench.contact.laws import CREEP_LAWS, creep_forces, creep_law, traction_ratio
from slipbench.contact.measured import MeasuredCurve, read_measured_curve
from slipbench.contact.polach import POLACH_SETS, PolachSet, falling_friction, polach_adhesion
from slipbench.contact.rolling import Creepages, CreepForces, RollingContact, rolling_contact
from slipbench.contact.strip import StripResult, strip_solution
from slipbench.contact.table import TractionTable, build_traction_table, table_error

__all__ = [
    "ADHESION_FORMULAS",
    "CREEP_LAWS",
    "POLACH_SETS",
    "ContactPatch",
    "CreepForces",
    "Creepages",
    "KalkerCoefficients",
    "MeasuredCurve",
    "PolachSet",
    "RollingContact",
    "StripResult",
    "TractionTable",
    "adhesion_at_speed",
    "build_traction_table",
    "conditioned_friction",
    "contact_patch",
    "contact_stiffness",
    "creep_forces",
    "creep_law",
    "degraded_recovered_adhesion",
    "falling_friction",
    "hertz_ellipse",
    "kalker_coefficients",
    "polach_adhesion",
    "read_measured_curve",
    "rolling_contact",
    "strip_solution",
    "table_error",
    "traction_ratio",
]
