"""The command line: reads arguments, calls `api`, prints; nothing heavy is imported before a command needs it."""

from vambrace.cli.app import main

__all__ = ["main"]
