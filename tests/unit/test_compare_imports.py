"""Importing the comparison costs no SciPy and no pandas: they load when a function needs them."""

from __future__ import annotations

import pkgutil
import subprocess
import sys

import vambrace.compare


def test_no_heavy_import_before_it_is_needed() -> None:
    names = [f"vambrace.compare.{each.name}" for each in pkgutil.iter_modules(vambrace.compare.__path__)]
    assert len(names) >= 15
    code = f"import sys, {', '.join(names)}; print([m for m in ('scipy', 'pandas', 'statsmodels') if m in sys.modules])"
    seen = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert seen.stdout.strip() == "[]"
