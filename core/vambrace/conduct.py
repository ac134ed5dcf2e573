"""Tries an importer on bytes that belong to nobody, before it may speak of anyone's files."""

from __future__ import annotations

from functools import partial

from vambrace.asking import ANSWER_S, Stopped, TimedOut, described, hushed, within
from vambrace.plugin import Claim, Head, Importer

_SIZE = 10_000
PROBES = (
    Head("4f1a", bytes(4096), _SIZE),
    Head("picture.png", b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR".ljust(4096, b"\x7f"), _SIZE),
    Head("letter.docx", b"PK\x03\x04\x14\x00\x06\x00".ljust(4096, b"\x55"), _SIZE),
    Head("page.html", b"<!DOCTYPE html>\n<html><body><p>Nothing to measure.</p>".ljust(4096), _SIZE),
    Head("program.c", b"int main(void)\n{\n    return 0;\n}\n".ljust(4096), _SIZE),
    Head("sound.wav", b"RIFF\x10\x27\x00\x00WAVEfmt ".ljust(4096, b"\x01"), _SIZE),
)
"""What no importer of measurements can mean to claim all of."""


def misconduct(importer: Importer) -> str:
    """Return why an importer would hurt others if it were asked about their files, "" where it would not.

    One that claims whatever it is shown would make every file ambiguous, one that hangs would stop every run.
    """
    answers: list[Claim | str] = []
    try:
        with hushed(lambda *_: None):
            within(ANSWER_S, partial(_answers, importer, answers), answers.__len__)
    except TimedOut:
        return f"asked whether it knows a file, it does not answer within {ANSWER_S:g} s"
    claims = [each for each in answers if isinstance(each, Claim)]
    if not claims:
        return f"it fails whatever file it is asked about: {answers[0]}"
    if len(claims) == len(PROBES) and Claim.NONE not in claims:
        return "it claims every file, whatever its name and bytes, so that it would stand in every other format's way"
    return ""


def _answers(importer: Importer, to: list[Claim | str]) -> None:
    for head in PROBES:
        try:
            to.append(Claim(importer.recognise(head)))
        except Stopped:
            raise
        except BaseException as error:
            to.append(described(error))
