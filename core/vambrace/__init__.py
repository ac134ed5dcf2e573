"""Vambrace: mixed exports of wearable devices, read into one tidy, validated, traceable dataset.

The public names load what they need when they are first used, so that `import vambrace` costs nothing.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from vambrace.api import convert as convert
    from vambrace.api import inspect as inspect
    from vambrace.api import plugins as plugins
    from vambrace.api import validate as validate
    from vambrace.errors import Rejected as Rejected
    from vambrace.errors import VambraceError as VambraceError
    from vambrace.output import Dataset as Dataset
    from vambrace.output import open_dataset as open_dataset
    from vambrace.scaffold import draft_mapping as draft_mapping
    from vambrace.schema import SIGNALS as SIGNALS
    from vambrace.schema import Signal as Signal

_PLACES = {
    "SIGNALS": "vambrace.schema",
    "Dataset": "vambrace.output",
    "Rejected": "vambrace.errors",
    "Signal": "vambrace.schema",
    "VambraceError": "vambrace.errors",
    "convert": "vambrace.api",
    "draft_mapping": "vambrace.scaffold",
    "inspect": "vambrace.api",
    "open_dataset": "vambrace.output",
    "plugins": "vambrace.api",
    "validate": "vambrace.api",
}
__all__ = list(_PLACES)


def __getattr__(name: str) -> Any:
    """Load a public name from its module; raise AttributeError for any other."""
    if name not in _PLACES:
        raise AttributeError(f"module 'vambrace' has no attribute {name!r}")
    value = globals()[name] = getattr(importlib.import_module(_PLACES[name]), name)
    return value


def __dir__() -> list[str]:
    """Return the public names."""
    return sorted(__all__)
