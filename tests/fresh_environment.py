"""A new environment, as a stranger has it: what is installed here is there, and more can be added."""

from __future__ import annotations

import os
import subprocess
import sys
import sysconfig
from pathlib import Path

PIP = [sys.executable, "-m", "pip", "--isolated", "--disable-pip-version-check"]


def ran(command: list[str], cwd: Path, path: Path | None = None) -> str:
    """Run a command without network, with a folder before all others on the path, and return what it prints."""
    environment = {**os.environ, "PYTHONDONTWRITEBYTECODE": "1", "COLUMNS": "80"}
    if path is not None:
        environment["PATH"] = f"{path}{os.pathsep}{environment['PATH']}"
    ended = subprocess.run(command, cwd=cwd, env=environment, capture_output=True, text=True, check=False)
    assert ended.returncode == 0, ended.stdout + ended.stderr
    return ended.stdout


def fresh_environment(folder: Path) -> Path:
    """Make an environment in a folder and return its Python; `vambrace` and `python -m pip` work there."""
    ran([sys.executable, "-m", "venv", "--without-pip", str(folder)], folder.parent)
    scripts = folder / ("Scripts" if os.name == "nt" else "bin")
    python = scripts / ("python.exe" if os.name == "nt" else "python")
    purelib = ran([str(python), "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"], folder).strip()
    # The folder of an editable install is named by a .pth file, which only a site folder obeys.
    outer = f"import site; site.addsitedir({sysconfig.get_path('purelib')!r})\n"
    (Path(purelib) / "outer.pth").write_text(outer, encoding="utf-8")
    program = scripts / "vambrace"
    program.write_text(f"#!{python}\nfrom vambrace.cli import main\nmain()\n", encoding="utf-8")
    program.chmod(0o755)
    return python
