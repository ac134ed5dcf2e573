"""The catalogue of validation rules: the one place that says what each is, as data."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from vambrace.rules.file_rules import DATASET, SET_ASIDE, WHOLE_FILE
from vambrace.rules.sample_rules import ORDER_OF_FILE, ORDER_OF_TIME
from vambrace.rules.words import Rule

GROUPS: Mapping[str, tuple[Rule, ...]] = MappingProxyType(
    {
        "The file as a whole": WHOLE_FILE,
        "Values that are set aside": SET_ASIDE,
        "Samples in the order of the file": ORDER_OF_FILE,
        "Samples in the order of time": ORDER_OF_TIME,
        "A dataset": DATASET,
    }
)
"""The rules in the order in which a person would read them."""

RULES: Mapping[str, Rule] = MappingProxyType({rule.name: rule for group in GROUPS.values() for rule in group})
"""Every rule by its name."""
