"""The strategy that campaigns are tested with serves here, too."""

from tests.campaign.conftest import slip_band

__all__ = ["slip_band"]
