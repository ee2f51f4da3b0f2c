"""How much do results hang on what a locked wheel still cleans?

Question: `rail.locked_cleaning_share` says how much of its sliding work a locked wheel spends on
cleaning. It is assumed (0.05); no measurement is known. What if it is something else?
Scenario: the shipped rails on which sliding cleans; strategies `none` and `slip_band`.
Run: `python -m experiments.how_locked_wheels_clean`
"""

import controllers
from bench import load_scenario, simulate
from bench.caution import CAUTION

RAILS = ("wet_leaf", "detergent", "tough_film")
SHARES = (0.0, 0.05, 0.2, 0.5, 1.0)


def distances(rail: str, share: float) -> tuple[float, float]:
    """Return the stopping distance without slip control and with `slip_band`. [m]"""
    scenario = load_scenario(rail).replace({"rail.locked_cleaning_share": share})
    stops = (
        simulate(scenario, controllers.by_name(name), with_traces=False)
        for name in ("none", "slip_band")
    )
    without, with_control = (float(stop.summary["stopping_distance"]) for stop in stops)
    return without, with_control


def main() -> None:
    """Print the table and the sentence it supports."""
    print(f"{'rail':<12}{'share':>7}{'none [m]':>11}{'slip_band [m]':>15}{'ratio':>8}")
    turned = []
    for rail in RAILS:
        for share in SHARES:
            without, with_control = distances(rail, share)
            ratio = without / with_control
            print(f"{rail:<12}{share:>7.2f}{without:>11.0f}{with_control:>15.0f}{ratio:>8.2f}")
            if ratio < 1.0:
                turned.append(f"{rail} at {share:g}")
    answer = ", ".join(turned) or "nowhere in this table"
    print(f"\nLocked wheels stop shorter than slip control: {answer}.")
    print(CAUTION)


if __name__ == "__main__":
    main()
