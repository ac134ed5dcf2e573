"""Drafts what one field is: its signal, unit and counting, with what speaks for each, or the question."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vambrace.plugin import SIGNALS, Refused
from vambrace_plugins.importers.csv.cells import ABSENT
from vambrace_plugins.importers.csv.layout import fields as settled
from vambrace_plugins.importers.csv.options import Options, check
from vambrace_plugins.importers.csv.vocabulary import (
    Heading,
    is_total,
    means_another,
    parts,
    read_heading,
    signal_with_rest,
    spellings,
)
from vambrace_plugins.mapping.drafts.looked import filled, labels, numbers
from vambrace_plugins.mapping.drafts.page import Entry, Part, ask, shown
from vambrace_plugins.mapping.drafts.scales import factor_of

_SAID = check(Options(counting="total"))
_FITS = 0.95
# Numbers that stand for no value where the others are of another kind (common practice, no source).
# What signals are called in some other languages; asked, never taken (common practice, no source).
_ABROAD = {
    **dict.fromkeys(
        ("puls", "herzfrequenz", "hf", "fréquence cardiaque", "frecuencia cardiaca", "polso"), "heart_rate"
    ),
    **dict.fromkeys(("schritte", "pas", "pasos", "passi", "stappen", "skridt", "steg"), "step_count"),
    **dict.fromkeys(("strecke", "distanz", "distanza", "distancia", "afstand"), "distance"),
    **dict.fromkeys(("geschwindigkeit", "vitesse", "velocidad", "velocità", "tempo"), "speed"),
    **dict.fromkeys(("leistung", "puissance", "potencia", "potenza"), "power"),
    **dict.fromkeys(("höhe", "hoehe", "altitud", "altitudine"), "altitude"),
    **dict.fromkeys(("hauttemperatur", "température de la peau"), "skin_temperature"),
    **dict.fromkeys(("atemfrequenz", "fréquence respiratoire"), "respiratory_rate"),
    **dict.fromkeys(("trittfrequenz", "kadenz", "cadencia"), "cadence"),
    **dict.fromkeys(("sauerstoffsättigung", "saturation"), "oxygen_saturation"),
}
_MARKS = (-1.0, -99.0, -999.0, -9999.0, 255.0, 999.0, 9999.0, 65535.0, 32767.0, 2147483647.0, 4294967295.0)


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a field may hold; `sure` says that its name says the signal and nothing more, `rest` what else it says."""

    heading: Heading
    sure: bool
    rest: str = ""


def meaning(name: str, heading: Heading | None = None) -> Meaning | None:
    """Return what the name of a field says, None where it says no signal."""
    if heading is not None and heading.signal:
        return Meaning(heading, not heading.rival, heading.device)
    for label in labels(name):
        found = read_heading(label)
        if found.signal:
            return Meaning(found, not found.rival)
    for label in labels(name):
        near = signal_with_rest(label)
        if near is not None:
            return Meaning(near[0], False, near[1])
    for label in labels(name):
        body, bracketed = parts(label)
        for words in spellings(body):
            if words in _ABROAD:
                inner = "".join(f" ({text})" for text in bracketed)
                return Meaning(read_heading(f"{_ABROAD[words]}{inner}"), False)
    return None


def signal_part(
    name: str, cells: Sequence[str], found: Meaning | None, where: dict[str, str] | None = None, unit: str = ""
) -> Part:
    """Return the table of a field that holds a signal, or may hold one; `unit` is what a field of units says."""
    held = filled(cells)
    part = Part("[[signals]]", [Entry("field", name)])
    if found is None:
        part.entries += _unknown(name, held, unit)
    else:
        part.entries += _known(name, held, found, unit)
    if where:
        part.entries.append(Entry("where", dict(where)))
    return part


def _known(name: str, held: Sequence[str], found: Meaning, unit: str) -> list[Entry]:
    heading = found.heading
    signal = heading.signal
    if found.sure:
        entries = [Entry("signal", signal, f"sure: the name says so; {_goes(held)}")]
    else:
        beside = f'the name says "{found.rest}" as well' if found.rest else f"or {heading.rival}"
        beside = beside if found.rest or heading.rival else "the name is that in another language"
        entries = [Entry("signal", ask(f"{signal}: {beside}; {_goes(held)}. Delete these lines if it is no signal"))]
    entries.append(_unit(heading, held, unit))
    if heading.statistic != "instant":
        entries.append(Entry("statistic", heading.statistic, "sure: the name says so"))
    if is_total(signal):
        entries.append(_counting(heading, held))
    if heading.device:
        entries.append(Entry("device", heading.device, "likely: only these words part this field from others"))
    return entries


def _unit(heading: Heading, held: Sequence[str], told: str) -> Entry:
    """Return the unit of a signal: as its name, its cells or a field of units says, as far as the values fit it."""
    signal = SIGNALS[heading.signal]
    told_by = "a field of the export says it"
    if not (told and signal.ucum(told)):
        told_by = "the name says it" if heading.unit else "usual, and the values fit"
        try:
            field = settled([replace(heading, rival="", canonical=False)], _SAID, [list(held)])[0]
        except Refused:
            return _asked_unit(heading, held, told)
        told = (signal.shown_unit or field.unit) if field.unit == signal.unit else field.unit
        told_by = "it stands in the cells" if field.suffix else told_by
        if field.suffix:
            return Entry("unit", told, f"sure: {told_by}")
    if not _plausible(heading.signal, told, held):
        return _asked_unit(heading, held, told)
    return Entry("unit", told, f"{'sure' if told_by[:5] != 'usual' else 'likely'}: {told_by}")


def _asked_unit(heading: Heading, held: Sequence[str], told: str) -> Entry:
    signal = SIGNALS[heading.signal]
    said = told or heading.unit or heading.remark
    fitting = [unit for unit in _units(heading.signal) if _plausible(heading.signal, unit, held)]
    others = [unit for unit in _units(heading.signal) if unit not in fitting]
    fit = f"; the values fit {', '.join(fitting)}" if fitting and others else ""
    why = f'the name or a field says "{said}", which the values do not fit' if said else "nothing says it"
    question = ask(f"{' or '.join([*fitting, *others])}: {_goes(held)}{fit}")
    return Entry("unit", question, f"{why}; {signal.title.lower()} is kept in {signal.shown_unit or signal.unit}")


def _units(signal: str) -> list[str]:
    return [SIGNALS[signal].shown_unit or SIGNALS[signal].unit, *SIGNALS[signal].accepts]


def _plausible(signal: str, unit: str, held: Sequence[str]) -> bool:
    """Say whether nearly all values are such as a person's device would show, in that unit."""
    scale = factor_of(signal, SIGNALS[signal].ucum(unit) or unit)
    found = np.array(numbers(held))
    found = found[(found != 0) & ~np.isin(found, _MARKS)]
    if scale is None or not len(found):
        return True
    low, high = SIGNALS[signal].plausible or SIGNALS[signal].domain
    values = found * scale[0] + scale[1]
    return bool(np.mean((values >= low) & (values <= high)) >= _FITS)


def _counting(heading: Heading, held: Sequence[str]) -> Entry:
    if heading.counting:
        return Entry("counting", heading.counting, "sure: the name says so")
    found = np.array(numbers(held))
    rises = bool((np.diff(found) >= 0).all())
    likely = "total or increment? The values never fall" if rises else "increment or total? The values rise and fall"
    return Entry("counting", ask(f"{likely}; {_goes(held)} (a running total, or the count of one interval)"))


def _unknown(name: str, held: Sequence[str], unit: str) -> list[Entry]:
    """Return the questions of a field of numbers whose name says no signal."""
    why = "a field of the export says it" if unit else "the name says it"
    unit = unit or _unit_of(name)
    every = [each for each in SIGNALS.values() if each.plausible or unit]
    near_words = [each for each in SIGNALS if _shares_words(name, each)]
    if unit:
        fitting = [each.name for each in every if each.ucum(unit) and _plausible(each.name, unit, held)]
    elif near_words:
        fitting = [each for each in near_words if any(_plausible(each, one, held) for one in SIGNALS[each].units)]
    else:
        fitting = [each.name for each in every if _plausible(each.name, each.unit, held)]
    fitting = fitting[:5]
    near = f"They would fit {', '.join(fitting)}" if fitting else "They would fit none in its usual unit"
    question = ask(f"which signal, if any: {_goes(held)}. {near}. Delete these lines if it is none")
    units = ", ".join(f"{' or '.join(_units(each)) if near_words else _units(each)[0]} of {each}" for each in fitting)
    ask_unit = ask(f"which unit, as {units}" if units else "which unit, as docs/signals.md names those of the signal")
    asked = Entry("unit", unit, f"likely: {why}") if unit and fitting else Entry("unit", ask_unit)
    return [Entry("signal", question, "unsure: the name says no signal that is known"), asked]


def _shares_words(name: str, signal: str) -> bool:
    """Say whether a name has a word of a signal's names, or the beginning of one."""
    own = {
        word for names in (signal.replace("_", " "), *SIGNALS[signal].words) for word in names.split() if len(word) > 2
    }
    told = {word for label in labels(name) for words in spellings(parts(label)[0]) for word in words.split()}
    return any(word in own or (len(word) > 3 and any(each.startswith(word) for each in own)) for word in told)


def _unit_of(name: str) -> str:
    """Return the unit that stands at the end of a name or in its brackets, "" for none."""
    for label in labels(name):
        body, bracketed = parts(label)
        for text in (*bracketed, *body.split()[1:][-1:], *body.split("_")[1:][-1:]):
            if (len(text) > 1 or text in bracketed) and any(signal.ucum(text) for signal in SIGNALS.values()):
                return text
    return ""


def _goes(held: Sequence[str]) -> str:
    found = numbers(held)
    if not found:
        return f"its cells begin with {shown(held[:1])}"
    low, high = f"{min(found):.6g}", f"{max(found):.6g}"
    return f"values {low} to {high}" if low != high else f"every value is {low}"


def worth_asking(name: str, cells: Sequence[str]) -> bool:
    """Say whether a field of numbers of an unknown name may be a signal: it varies, and is named as nothing else."""
    named = bool(_unit_of(name)) or not any(means_another(label) for label in labels(name))
    return named and len({*filled(cells)}) > 1


def marks_of(cells: Sequence[str]) -> list[str]:
    """Return cells that may mark a missing value: words between numbers, and numbers far from all others."""
    held = filled(cells)
    words = {cell for cell in held if not numbers([cell]) and cell.lower() not in ABSENT and " " not in cell}
    found = np.array(numbers(held))
    others = found[~np.isin(found, _MARKS)]
    marks = set()
    if len(others):
        spread = max(float(others.max() - others.min()), abs(float(others.max())) / 2)
        far = {each for each in found.tolist() if each < others.min() - spread or each > others.max() + spread}
        marks = {f"{each:.15g}" for each in far if each in _MARKS or (each == -1 and others.min() >= 0)}
        marks |= {"-1"} if -1 in found and others.min() >= 0 else set()
    return sorted([*marks, *(words if len(words) <= 3 else ())])
