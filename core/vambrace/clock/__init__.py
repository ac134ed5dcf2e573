"""A source's times to microseconds of UTC; this layer has no bound on dates, and knows no computer's clock."""

from vambrace.clock.convert import PLAUSIBLE_US, implausible, in_both_passes, time_texts, to_utc
from vambrace.clock.zones import check_zone, zone_data_version

__all__ = ["PLAUSIBLE_US", "check_zone", "implausible", "in_both_passes", "time_texts", "to_utc", "zone_data_version"]
