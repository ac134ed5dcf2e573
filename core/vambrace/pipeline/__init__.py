"""Strings the stages together for one source."""

from vambrace.pipeline.examining import examine
from vambrace.pipeline.settings import CONVERSION_VERSION, still_holds
from vambrace.pipeline.source import Plan, Result, convert_source, unread
from vambrace.pipeline.watching import Watch

__all__ = ["CONVERSION_VERSION", "Plan", "Result", "Watch", "convert_source", "examine", "still_holds", "unread"]
