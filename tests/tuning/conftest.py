"""The small stops of the campaign's tests."""

from tests.campaign.conftest import candidates, plan, slip_band, small, stub

__all__ = ["candidates", "plan", "slip_band", "small", "stub"]
