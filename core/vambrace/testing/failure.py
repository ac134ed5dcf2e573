"""How a check says that a plugin breaks a promise."""

from __future__ import annotations

__tracebackhide__ = True  # pytest then shows where the check was called, and its sentence


class Failure(AssertionError):
    """Says in three parts what is wrong, where it was seen, and what the plugin's author should do."""

    def __init__(self, what: str, *, where: str = "", todo: str = "") -> None:
        """Hold the three parts; those that are empty are left out of the message."""
        parts = (("", what), ("where: ", where), ("to do: ", todo))
        super().__init__("\n".join(f"{head}{text}" for head, text in parts if text))
        self.what, self.where, self.todo = what, where, todo
