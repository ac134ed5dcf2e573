"""`validate` on files: what it prints, its statuses, its sentences for what it cannot do, and all faults at once."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import jsonschema
import pandas as pd
import pytest

import vambrace
from seeded_faults import FAULTS, OPTIONS, clean, seeded
from vambrace.api import find_faults
from vambrace.cli.app import run
from vambrace.cli.validation import validation_text
from vambrace.errors import VambraceError

SCHEMA = json.loads((Path(__file__).parents[2] / "docs" / "validation.schema.json").read_text("utf-8"))
TOTAL = ["--option", "csv.counting=total"]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a folder with a clean file, one with a warning and one with an error."""
    (tmp_path / "clean.csv").write_bytes(clean(1).to_bytes())
    (tmp_path / "spike.csv").write_bytes(seeded("a spike", 1).to_bytes())
    (tmp_path / "beyond.csv").write_bytes(seeded("a saturation of 104 %", 1).to_bytes())
    return tmp_path


def ran(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> tuple[int, str, str]:
    status = run(["validate", *arguments])
    out, err = capsys.readouterr()
    return status, out, err


def test_statuses(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    spike = str(folder / "spike.csv")
    assert ran([str(folder / "clean.csv"), *TOTAL], capsys)[0] == 0
    assert ran([spike, *TOTAL], capsys)[0] == 0
    assert ran([spike, *TOTAL, "--fail-on", "warning"], capsys)[0] == 1
    assert ran([str(folder / "beyond.csv"), *TOTAL], capsys)[0] == 1
    assert ran([str(folder), *TOTAL], capsys)[0] == 1


def test_the_text_is_grouped_by_file_worst_first_and_fits(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = ran([str(folder), *TOTAL], capsys)
    lines = out.splitlines()
    assert max(map(len, lines)) <= 80 or len(str(folder)) > 60
    files = [line.rpartition("/")[2] for line in lines if line.startswith(str(folder))]
    assert files == ["beyond.csv", "spike.csv"]
    rules = [line.split()[:2] for line in lines if line.startswith(("error", "warning", "note"))]
    assert rules == [["error", "outside-domain"], ["warning", "rate-of-change"], ["warning", "spike"]]
    assert lines[-1] == "3 paths looked at: 1 error, 2 warnings"


def test_no_line_is_wider_than_80_columns(tmp_path: Path) -> None:
    for name in FAULTS:
        table = seeded(name, 2)
        (tmp_path / table.name).write_bytes(table.to_bytes())
        text = validation_text(find_faults(tmp_path / table.name, options=OPTIONS), 80)
        wide = [line for line in text.splitlines() if len(line) > 80 and not line.startswith(str(tmp_path))]
        assert wide == []


def test_what_signals_share_is_shown_once(tmp_path: Path) -> None:
    (tmp_path / "gap.csv").write_bytes(seeded("a gap", 3).to_bytes())
    text = validation_text(find_faults(tmp_path / "gap.csv", options=OPTIONS), 80)
    assert text.count("warning  gap") == 1
    assert "1 stretch without a sample, the longest 91 s; usual are 1 s" in " ".join(text.split())


def test_json_follows_the_published_schema(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rules = folder / "rules.toml"
    rules.write_text("[spike.heart_rate]\nheight = 20\n", "utf-8")
    (folder / "zoneless.csv").write_bytes(seeded("times without zone", 1).to_bytes())
    _, out, _ = ran([str(folder), *TOTAL, "--json", "--rules", str(rules)], capsys)
    document = json.loads(out)
    checker = jsonschema.Draft202012Validator
    checker.check_schema(SCHEMA)
    checker(SCHEMA).validate(document)
    assert document["thresholds"] == ["spike.heart_rate.height = 20 (the catalogue says 30)"]
    assert document["counts"] == {"error": 2, "warning": 3, "note": 0}
    assert len(document["checked"]) == 5
    broken = {**document, "findings": [{**document["findings"][0], "severity": "fatal"}]}
    with pytest.raises(jsonschema.ValidationError):
        checker(SCHEMA).validate(broken)


def test_the_frame(folder: Path) -> None:
    frame = vambrace.validate(folder, options=OPTIONS)
    assert list(frame["rule"]) == ["outside-domain", "rate-of-change", "spike"]
    assert str(frame["first_time"].dtype) == "datetime64[us, UTC]"
    assert str(frame["first_record"].dtype) == "Int64"
    empty = vambrace.validate(folder / "clean.csv", options=OPTIONS)
    assert empty.empty
    pd.testing.assert_series_equal(empty.dtypes, frame.dtypes)


def test_members_of_archives_are_looked_at(folder: Path) -> None:
    with zipfile.ZipFile(folder / "all.zip", "w") as archive:
        archive.write(folder / "beyond.csv", "inner/beyond.csv")
    found = find_faults(folder / "all.zip", options=OPTIONS)
    assert [each.rule for each in found.findings] == ["outside-domain"]
    assert found.findings[0].path.endswith("all.zip!inner/beyond.csv")


def test_nothing_is_left_behind(folder: Path) -> None:
    before = sorted(folder.rglob("*"))
    find_faults(folder, options=OPTIONS)
    assert sorted(folder.rglob("*")) == before


@pytest.mark.parametrize(
    ("toml", "says"),
    [
        ("[gasp]\nfactor = 5\n", "no rule is named 'gasp'"),
        ("[gap]\nfaktor = 5\n", "the rule gap has no threshold 'faktor'"),
        ("[gap]\nfactor = true\n", "is no number"),
        ("[gap]\nfactor = nan\n", "is no number"),
        ("[spike]\nheight = 5\n", "signal by signal"),
        ("[spike.hart_rate]\nheight = 5\n", "no signal is named 'hart_rate'"),
        ("gap = 5\n", "gap is no table"),
        ("[gap\n", "is no TOML"),
    ],
)
def test_a_wrong_rules_file(folder: Path, toml: str, says: str, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "rules.toml").write_text(toml, "utf-8")
    status, out, err = ran([str(folder / "clean.csv"), "--rules", str(folder / "rules.toml")], capsys)
    assert (status, out) == (2, "")
    assert says in err
    assert err.count("\n") == 1


def test_what_cannot_be_validated(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "empty").mkdir()
    for name in ("samples", "sources", "tables"):
        (tmp_path / "half" / name).mkdir(parents=True)
    (tmp_path / "newer").mkdir()
    (tmp_path / "newer" / "vambrace.json").write_text('{"schema_version": "9", "needs": "7.0.0"}', "utf-8")
    (tmp_path / "some").mkdir()
    (tmp_path / "some" / "walk.csv").write_bytes(clean(1).to_bytes())
    for arguments, says in (
        (["nowhere"], "there is no such file or folder"),
        (["empty"], "there is no file in this folder"),
        (["half"], "the file vambrace.json that marks one is missing"),
        (["newer"], "needs vambrace >= 7.0.0"),
        (["some", "--repair"], "only a dataset can be repaired"),
        (["some", "--rules", "nowhere.toml"], "the rules file cannot be read"),
        (["some", "--zone", "Nowhere/Atall"], "Nowhere/Atall"),
    ):
        status, out, err = ran([str(tmp_path / arguments[0]), *arguments[1:]], capsys)
        assert (status, out) == (2, ""), arguments
        assert says in err
        assert err.count("\n") == 1


def test_a_rules_file_changes_what_is_found(folder: Path) -> None:
    rules = folder / "rules.toml"
    rules.write_text("[rate-of-change.heart_rate]\nper_s = 500\n[spike.heart_rate]\nheight = 500\n", "utf-8")
    found = find_faults(folder / "spike.csv", rules=rules, options=OPTIONS)
    assert found.findings == ()
    assert len(found.overridden) == 2


def test_a_fault_of_our_own_in_one_file_leaves_the_others(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from vambrace.api import validating

    honest = validating.examine

    def broken(plan: object, *rest: object) -> object:
        if plan.name == "clean.csv":  # type: ignore[attr-defined]
            raise ZeroDivisionError("ours")
        return honest(plan, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(validating, "examine", broken)
    rules = [each.rule for each in find_faults(folder, options=OPTIONS).findings]
    assert sorted(rules) == ["outside-domain", "rate-of-change", "refused", "spike"]


def test_an_unknown_option_is_refused(folder: Path) -> None:
    with pytest.raises(VambraceError, match="no option"):
        find_faults(folder, options={"csv": {"steps": "total"}})


def test_an_unfamiliar_table_is_looked_at_through_its_mapping(tmp_path: Path) -> None:
    (tmp_path / "band.toml").write_text(
        'name = "band"\n[source]\nkind = "csv"\n[time]\ncolumn = "when"\nzone = "UTC"\n'
        '[[signals]]\nfield = "puls"\nsignal = "heart_rate"\nunit = "bpm"\n',
        "utf-8",
    )
    rows = [f"2031-03-04T09:00:{k:02d},{400 if k == 30 else 60 + k % 3}" for k in range(60)]
    (tmp_path / "band.csv").write_text("\n".join(["when,puls", *rows, ""]), "utf-8")
    assert [each.rule for each in find_faults(tmp_path / "band.csv").findings] != ["outside-domain"]
    (found,) = find_faults(tmp_path / "band.csv", mappings=[tmp_path / "band.toml"]).findings
    assert (found.rule, found.first_record, found.worst) == ("outside-domain", 31, 400)


def test_what_cannot_be_read_and_what_is_not_looked_into_is_said(folder: Path) -> None:
    (folder / "inner").mkdir()
    (folder / "inner" / "vambrace.json").write_text("{}", "utf-8")
    (folder / "link.csv").symlink_to("nowhere")
    (folder / "nothing.csv").write_bytes(b"")
    found = {each.path.rpartition("/")[2]: each.rule for each in find_faults(folder, options=OPTIONS).findings}
    assert (found["inner"], found["link.csv"], found["nothing.csv"]) == ("not-looked-into", "refused", "refused")
