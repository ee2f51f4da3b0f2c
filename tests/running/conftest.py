"""The small stops that campaigns are tested with serve here, too."""

from tests.campaign.conftest import candidates, plan, slip_band, small, stub

__all__ = ["candidates", "plan", "slip_band", "small", "stub"]
