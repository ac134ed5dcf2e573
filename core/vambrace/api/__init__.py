"""The calls behind the public names."""

from vambrace.api.converting import convert
from vambrace.api.inspecting import inspect
from vambrace.api.installed import plugins
from vambrace.api.validating import Validation, find_faults, validate, worse_than

__all__ = ["Validation", "convert", "find_faults", "inspect", "plugins", "validate", "worse_than"]
