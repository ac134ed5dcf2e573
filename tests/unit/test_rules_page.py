"""`docs/rules.md` says what the catalogue says, and the catalogue says all that it must."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path
from types import ModuleType

from vambrace.errors import DamagedFile, NoTimeZone, Reason, Refused, UnknownFormat
from vambrace.rules import GROUPS, RULES, Severity, Thresholds, finding_of
from vambrace.schema import SIGNALS

ROOT = Path(__file__).parents[2]


def writer() -> ModuleType:
    path = ROOT / "tests" / "release" / "write_rules_page.py"
    spec = importlib.util.spec_from_file_location("write_rules_page", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_page_is_current() -> None:
    written = (ROOT / "docs" / "rules.md").read_text("utf-8")
    assert written == writer().page(), "run: python tests/release/write_rules_page.py"


def test_every_rule_says_all_of_itself() -> None:
    assert len(RULES) == sum(len(group) for group in GROUPS.values())
    for rule in RULES.values():
        assert re.fullmatch(r"[a-z]+(-[a-z]+)*", rule.name)
        for text in (rule.meaning, rule.matters, rule.todo):
            assert text[0].isupper() or text[0] == "`"
            assert text.endswith(".")
        for threshold in rule.thresholds:
            assert threshold.unit
            assert threshold.source
            assert (threshold.default is not None) or threshold.by_signal
            assert threshold.by_signal.keys() <= SIGNALS.keys()


def test_every_reason_for_setting_a_value_aside_is_a_rule() -> None:
    assert {str(reason) for reason in Reason} == {rule.name for rule in GROUPS["Values that are set aside"]}


def test_a_threshold_is_that_of_the_signal_the_rule_or_the_file() -> None:
    given = Thresholds({("gap", "factor", ""): 5.0, ("spike", "height", "power"): 900.0})
    assert given.get("gap", "factor", "power") == 5
    assert given.get("gap", "least_s", "power") == 10
    assert given.get("spike", "height", "power") == 900
    assert given.get("spike", "height", "heart_rate") == 30
    assert given.get("spike", "height", "rr_interval") is None


def test_what_ends_a_source_becomes_a_rule() -> None:
    cases = {
        "checksum-wrong": DamagedFile("the checksum does not match what stands before it"),
        "file-cut-short": DamagedFile("the file breaks off at byte 7, inside what begins here"),
        "damaged-file": DamagedFile("what begins here contradicts the format"),
        "zone-unknown": NoTimeZone("it writes local times"),
        "unrecognised": UnknownFormat("no importer claims it"),
        "unit-suspect": Refused("time-unit-contradicts", "its times cannot be seconds"),
        "refused": Refused("decimal-not-said", "its decimals can be read in two ways"),
    }
    for rule, error in cases.items():
        found = finding_of(error)
        assert found.rule == rule
        assert found.severity == (Severity.WARNING if rule == "unrecognised" else Severity.ERROR)
