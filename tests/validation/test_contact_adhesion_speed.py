"""Adhesion against speed at 0, 100 and 200 km/h."""

import pytest

from slipbench.contact.adhesion_speed import adhesion_at_speed

# Each row: formula, values at 0, 100, 200 km/h rounded to the digits shown.
VALUES = [
    ("curtius_kniffler_dry", "0.331", "0.213", "0.192"),
    ("curtius_kniffler_wet", "0.300", "0.182", "0.161"),
    ("kother", "0.330", "0.179", "0.153"),
    ("shinkansen", "0.160", "0.0735", "0.0477"),
    ("jr_dc_locomotive", "0.265", "0.206", "0.205"),
    ("jr_ac_locomotive", "0.326", "0.250", "0.249"),
    ("jr_multiple_unit", "0.245", "0.134", "0.128"),
    ("jr_braking", "0.200", "0.126", "0.092"),
    ("utp_traction_cap", "0.300", "0.275", "0.190"),
    ("tsi_braking_cap", "0.150", "0.150", "0.150"),
    ("koffman_dry", "0.25", "0.25", "0.25"),
]


@pytest.mark.parametrize("row", VALUES)
def test_adhesion_matches_its_formula_at_three_speeds(row: tuple[str, ...]) -> None:
    """Sources and marks per formula in `slipbench.contact.adhesion_speed`.

    Curtius-Kniffler: secondary; Kother and the TSI cap: from memory, not verified.
    """
    for speed_kmh, printed in zip((0.0, 100.0, 200.0), row[1:], strict=True):
        half_digit = 0.5 * 10.0 ** -len(printed.split(".")[1])
        got = float(adhesion_at_speed(row[0], speed_kmh / 3.6))
        assert got == pytest.approx(float(printed), abs=half_digit * (1.0 + 1e-9))


@pytest.mark.parametrize(
    ("name", "at_350"),
    [
        ("tsi_braking_cap", 0.10),
        ("tsi_braking_cap_few_axles", 0.08),
        ("tsi_braking_cap_many_axles", 0.12),
    ],
)
def test_braking_caps_fall_to_350_kmh(name: str, at_350: float) -> None:
    """TSI LOC&PAS 4.2.4.6.1 (from memory, not verified)."""
    assert float(adhesion_at_speed(name, 350.0 / 3.6)) == pytest.approx(at_350, abs=1e-12)
    assert float(adhesion_at_speed(name, 300.0 / 3.6)) == pytest.approx(at_350 + 0.025, abs=1e-12)
