"""The small stop and its strategies serve here as well."""

from tests.campaign.conftest import candidates, slip_band, small, stub

__all__ = ["candidates", "slip_band", "small", "stub"]
