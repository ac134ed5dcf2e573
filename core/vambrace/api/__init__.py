"""The calls behind the public names."""

from vambrace.api.converting import convert
from vambrace.api.inspecting import inspect
from vambrace.api.installed import plugins

__all__ = ["convert", "inspect", "plugins"]
