"""The validation rules: the catalogue as data, and its evaluation on columns."""

from vambrace.rules.catalogue import GROUPS, RULES
from vambrace.rules.evaluation import Evaluation, InTimeOrder
from vambrace.rules.mapping import finding_of, finding_of_code
from vambrace.rules.sample_rules import ORDER_OF_TIME
from vambrace.rules.thresholds import Thresholds, load_thresholds
from vambrace.rules.words import Finding, Rule, Severity, Threshold, badness

__all__ = [
    "GROUPS",
    "ORDER_OF_TIME",
    "RULES",
    "Evaluation",
    "Finding",
    "InTimeOrder",
    "Rule",
    "Severity",
    "Threshold",
    "Thresholds",
    "badness",
    "finding_of",
    "finding_of_code",
    "load_thresholds",
]
