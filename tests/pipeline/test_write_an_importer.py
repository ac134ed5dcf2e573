"""The page that teaches how to write an importer, followed to the letter: every block is run, every file written."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from importer_page import Followed, follow

ROOT = Path(__file__).parents[2]
EXAMPLE = ROOT / "docs" / "examples" / "vambrace-loom"
_MOST_LINES = 80


@pytest.fixture(scope="module")
def followed(tmp_path_factory: pytest.TempPathFactory) -> Followed:
    return follow(tmp_path_factory.mktemp("reader"))


def test_what_the_page_shows_is_what_is_printed(followed: Followed) -> None:
    assert len(followed.outputs) >= 4
    for shown, said in followed.outputs:
        assert shown == said, "run python tests/release/write_importer_page.py"
        assert shown


def test_what_comes_out_is_the_example_that_ships(followed: Followed) -> None:
    def files(folder: Path) -> dict[str, bytes]:
        places = [
            folder / "pyproject.toml",
            folder / ".gitignore",
            *(folder / "src").rglob("*"),
            *(folder / "tests").rglob("*"),
        ]
        kept = [
            path for path in places if path.is_file() and path.suffix != ".pyc" and ".pytest_cache" not in path.parts
        ]
        return {path.relative_to(folder).as_posix(): path.read_bytes() for path in kept}

    made, shipped = files(followed.project), files(EXAMPLE)
    assert sorted(made) == sorted(shipped)
    assert made == shipped


def test_each_importer_has_at_most_eighty_lines() -> None:
    for name in ("shuttle", "almanac"):
        text = (EXAMPLE / "src" / "vambrace_loom" / f"{name}.py").read_text(encoding="utf-8")
        assert len(text.splitlines()) <= _MOST_LINES
        assert max(map(len, text.splitlines())) <= 120
        ours = re.findall(r"^(?:from|import) (vambrace[\w.]*)", text, re.MULTILINE)
        assert ours == ["vambrace.plugin"]


def test_the_steps_were_exported(followed: Followed) -> None:
    rows = (followed.project / "steps.csv").read_text(encoding="utf-8").splitlines()
    assert len(rows) == 1 + 5 + 4
