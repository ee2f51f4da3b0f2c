"""The small stop of the campaign tests serves here as well."""

from tests.campaign.conftest import small

__all__ = ["small"]
