"""Names of files and members: shown safely, told apart, checked, matched against ignore patterns."""

from __future__ import annotations

import fnmatch
import os
import re
from collections import Counter
from collections.abc import Collection, Sequence

_LOOKS_ESCAPED = re.compile(r"\\(?=x[0-9a-f]{2})")
_NOT_TEXT = re.compile("[\udc80-\udcff]")
_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f]")


def file_name(name: str) -> str:
    """Return the operating system's name of a file as UTF-8 reads its bytes, whatever the locale's encoding."""
    return os.fsencode(name).decode("utf-8", "surrogateescape") if os.sep == "/" else name


def shown(name: str) -> str:
    r"""Return a file name as valid text: a byte that is not UTF-8 becomes `\xNN`; no two names become the same."""
    text = _LOOKS_ESCAPED.sub(r"\\x5c", name)
    text = _NOT_TEXT.sub(lambda found: f"\\x{ord(found[0]) - 0xDC00:02x}", text)
    # What is left are lone surrogates, which only file systems that store UTF-16 can hold.
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


def shown_apart(names: Collection[str]) -> dict[str, str]:
    r"""Return each name of one folder or archive as it is shown; `!` becomes `\x21` where it would mislead.

    That is where `a.zip!b` stands beside `a.zip`: it must not look like the member b of that archive.
    """
    known = set(names)
    return {name: _marks_kept(shown(name), name, known) for name in names}


def _marks_kept(text: str, name: str, known: set[str]) -> str:
    parts = name.split("!")
    if len(parts) == 1 or not any("!".join(parts[:k]) in known for k in range(1, len(parts))):
        return text
    return text.replace("!", r"\x21")


def root_text(root: str) -> str:
    """Return a SOURCE as given, with `/` and without a closing `/`."""
    text = shown(file_name(root))
    text = text.replace(os.sep, "/") if os.sep != "/" else text
    return text.rstrip("/") or text[:1]


def place_of(root: str, path: str) -> str:
    """Return where a source stands, for people: its path below the folder that was given, or the file itself."""
    last = root.rpartition("/")[2]
    # Of an archive that was given itself, the members' paths begin with its name.
    inside = path == last or path.startswith(f"{last}!")
    return root + path[len(last) :] if inside and last else f"{root}/{path}"


def member_name(raw: bytes) -> str:
    """Decode a member's name: UTF-8 where its bytes are, declared or not, else the code page 437 of old archives."""
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        return raw.decode("cp437")


def tidied(name: str) -> str:
    """Drop the empty and `.` parts of a member's relative name (`./a//b` is `a/b`)."""
    if name.startswith("/"):
        return name
    return "/".join(part for part in name.split("/") if part not in ("", "."))


def name_fault(name: str) -> str:
    """Say what is wrong with a member's name, or return an empty text."""
    if not tidied(name):
        return "the member has no name"
    if _CONTROL.search(name):
        return "the member's name holds control characters"
    if "\\" in name:
        return "the member's name holds a backslash, which could lead out of the archive"
    if name.startswith("/") or re.match("[A-Za-z]:", name):
        return "the member's name leaves the archive: it is an absolute path"
    if ".." in name.split("/"):
        return "the member's name leaves the archive: it holds `..`"
    return ""


def member_paths(names: Sequence[str]) -> list[str]:
    """Return a path for each member of an archive, all different, in the order of the names."""
    tidy = [tidied(name) or "(no name)" for name in names]
    apart = shown_apart(tidy)
    texts = [_CONTROL.sub(lambda found: f"\\x{ord(found[0]):02x}", apart[name]) for name in tidy]
    used, count = set(texts), Counter(texts)
    for k, text in enumerate(texts):
        if count[text] > 1:
            texts[k] = _unused(f"{text} (member {k + 1})", used)
    return texts


def _unused(text: str, used: set[str]) -> str:
    while text in used:
        text += "'"
    used.add(text)
    return text


def twins(names: Sequence[str]) -> set[str]:
    """Return the tidied names that more than one member has."""
    return {name for name, n in Counter(map(tidied, names)).items() if n > 1}


class Ignored:
    """Matches paths against ignore patterns: globs, case as it is, where `*` also stands for `/`."""

    def __init__(self, patterns: Sequence[str]) -> None:
        self._patterns = [(pattern, _compiled(pattern)) for pattern in patterns if pattern]

    def by(self, *paths: str) -> str:
        """Return the first pattern that matches one of the paths, its name, or a folder above it; else ''.

        A member of an archive has two paths: the whole one, and the one inside the archive.
        """
        if not self._patterns:
            return ""
        places = [place for path in paths for place in _places(path)]
        return next((pattern for pattern, fits in self._patterns if any(map(fits.fullmatch, places))), "")


def _compiled(pattern: str) -> re.Pattern[str]:
    bare = pattern.rstrip("/") or pattern
    # `**/x` means x at any depth, the top included.
    forms = [bare, bare[3:]] if bare.startswith("**/") and bare[3:] else [bare]
    return re.compile("|".join(fnmatch.translate(form) for form in forms))


def _places(path: str) -> list[str]:
    """Return the path, the paths above it, and the name of each."""
    parts = path.split("/")
    return [*parts, *("/".join(parts[:k]) for k in range(2, len(parts) + 1))]
