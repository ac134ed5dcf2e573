"""The rules that look at a file as a whole, and at the values that could not be kept."""

from __future__ import annotations

from vambrace.rules.words import Rule, Severity

_SALVAGE = "Export or copy it again; `--salvage` of `convert` keeps what stands before the damage."
_AS_IT_STANDS = "See the table set_aside, or `vambrace inspect FILE`, for the value as the file gives it."

WHOLE_FILE = (
    Rule(
        "checksum-wrong",
        Severity.ERROR,
        "The bytes are not those that their own checksum was made of.",
        "Any value may be wrong, and nothing tells which.",
        _SALVAGE,
    ),
    Rule(
        "file-cut-short",
        Severity.ERROR,
        "The file ends before its own end mark: a length, a closing tag, the end of a packed stream.",
        "The end of the activity is missing, so totals and coverage are too low.",
        _SALVAGE,
    ),
    Rule(
        "damaged-file",
        Severity.ERROR,
        "The bytes contradict the format.",
        "What follows the damage cannot be read, and what stands before it may be wrong.",
        _SALVAGE,
    ),
    Rule(
        "possibly-cut",
        Severity.NOTE,
        "The file has no end mark and its last line is not whole, or has no end.",
        "The end of the recording may be missing.",
        "Compare the last time with the device, and export again where it is too early.",
    ),
    Rule(
        "zone-unknown",
        Severity.ERROR,
        "The file writes local times, and nothing says in which zone.",
        "A guess would be wrong by whole hours, and no alignment finds that out.",
        "Say where the clock stood: `--zone`, an IANA name such as Atlantic/Azores.",
    ),
    Rule(
        "refused",
        Severity.ERROR,
        "The file would not be read: it can be read in more than one way, or in none.",
        "No value of it would be in the dataset.",
        "The finding's sentence says what, where, why, and which option or export settles it.",
    ),
    Rule(
        "unrecognised",
        Severity.WARNING,
        "No importer knows the file, or it is a table without any column that we know.",
        "No value of it would be in the dataset.",
        "Leave it, if it holds no measurements; else export it in another format.",
    ),
    Rule(
        "not-looked-into",
        Severity.NOTE,
        "A dataset stands inside the folder that was given.",
        "Its rows are results, and no exports.",
        "Validate it by its own path.",
    ),
    Rule(
        "not-carried",
        Severity.NOTE,
        "The file holds fields that no signal fits.",
        "They are counted, and not compared.",
        "Nothing, unless one of them is what you wanted to compare.",
    ),
    Rule(
        "counts-at-one-time",
        Severity.WARNING,
        "Counts per interval stand at the same time as the count before them, and were added like any other.",
        "A row that was exported twice is counted twice.",
        "Look whether those rows are copies.",
    ),
)

SET_ASIDE = (
    Rule(
        "outside-domain",
        Severity.ERROR,
        "A value cannot mean anything in its unit, such as a saturation of 104 %; it is set aside.",
        "The device or the export is at fault there; left in, such values would decide every mean.",
        _AS_IT_STANDS,
    ),
    Rule(
        "no-time",
        Severity.ERROR,
        "A value has no time; it is set aside.",
        "It cannot be paired with a reference.",
        _AS_IT_STANDS,
    ),
    Rule(
        "time-ambiguous",
        Severity.WARNING,
        "A local time comes twice on the night when the clock falls back; the value is set aside.",
        "Either hour may be meant, and a guess would be wrong by one.",
        "Where rows stand in the order of time, the option that the finding names tells both passes apart.",
    ),
    Rule(
        "time-nonexistent",
        Severity.ERROR,
        "A local time never came, since the clock jumped over it; the value is set aside.",
        "The zone is wrong, or the device's clock did not follow it.",
        "Check the zone.",
    ),
    Rule(
        "time-implausible",
        Severity.ERROR,
        "A time lies outside 1990 to 2100, or an interval ends before it begins; the value is set aside.",
        "The device's clock was never set, or the unit of the times is another.",
        _AS_IT_STANDS,
    ),
    Rule(
        "not-a-number",
        Severity.ERROR,
        "A cell holds text where a number should stand; the value is set aside.",
        "A mark for 'absent' that we do not know is harmless; anything else is a damaged export.",
        _AS_IT_STANDS,
    ),
    Rule(
        "half-a-fix",
        Severity.WARNING,
        "A latitude stands without a longitude, or the other way round; it is set aside.",
        "Half of a position is none.",
        _AS_IT_STANDS,
    ),
    Rule(
        "not-worn",
        Severity.NOTE,
        "The file itself says that the device was not worn; the value is set aside.",
        "It would count as measured, and lower or raise the agreement.",
        "Nothing; coverage shows it.",
    ),
    Rule(
        "unknown-code",
        Severity.ERROR,
        "A coded value, such as a sleep stage, is none that we know; it is set aside.",
        "The time of that stage is missing from every total.",
        "Look up the code in the device's description, and recode the export.",
    ),
)
"""One rule for each reason for which a value is set aside, under the reason's own name."""

DATASET = (
    Rule(
        "schema-version",
        Severity.ERROR,
        "A record, shard or table says another schema version than the dataset.",
        "Columns may mean something else.",
        "Convert the sources into a new dataset.",
    ),
    Rule(
        "schema-columns",
        Severity.ERROR,
        "A table lacks a column, has one too many, or one of another type.",
        "Programs that rely on the contract read something else, or fail.",
        "A derived table: `vambrace validate --repair`. A shard: convert its source into a new dataset.",
    ),
    Rule(
        "schema-order",
        Severity.ERROR,
        "Rows of a shard do not stand in the order recording, signal, time, record.",
        "Readers that stream rely on it; pairs would be missed silently.",
        "Convert the source into a new dataset.",
    ),
    Rule(
        "schema-key",
        Severity.ERROR,
        "A row points at a recording or channel that is not there, or stands twice under one key.",
        "A value that leads back to no source cannot be checked.",
        "A derived table: `vambrace validate --repair`. A shard: convert its source into a new dataset.",
    ),
    Rule(
        "schema-hash",
        Severity.ERROR,
        "A file is missing, cannot be read, or its bytes are not those that were committed.",
        "Any of its values may be wrong.",
        "Restore it from a copy, or convert the source into a new dataset.",
    ),
    Rule(
        "schema-rows",
        Severity.ERROR,
        "The law of the rows is broken: read = kept + set aside + outside, and as many stand in the files.",
        "A value was lost or made up.",
        "Convert the source into a new dataset, and report it.",
    ),
    Rule(
        "schema-unit",
        Severity.ERROR,
        "A sample has another unit than its signal.",
        "Its value would be compared as if it were in the canonical unit.",
        "Convert the source into a new dataset.",
    ),
    Rule(
        "schema-value",
        Severity.ERROR,
        "A stored value is empty or outside its signal's domain, or its quality is not what the contract says.",
        "It should have been set aside.",
        "Convert the source into a new dataset, and report it.",
    ),
    Rule(
        "schema-instant",
        Severity.ERROR,
        "A sample lies outside its recording's start and end, or ends before it begins.",
        "Sessions are assigned by these times.",
        "Convert the source into a new dataset.",
    ),
    Rule(
        "schema-record",
        Severity.ERROR,
        "A commit record is damaged or has a key that is not that of its content.",
        "What became of the source is not known.",
        "Restore it from a copy, or convert the source into a new dataset.",
    ),
    Rule(
        "schema-stale",
        Severity.WARNING,
        "The derived tables are missing, damaged, or not those of the records.",
        "They show what was, not what is.",
        "`vambrace validate --repair`, or any `vambrace convert`, builds them anew.",
    ),
    Rule(
        "schema-package",
        Severity.ERROR,
        "`datapackage.json` is missing, damaged, or not what the records give.",
        "Other tools find wrong or no tables.",
        "`vambrace validate --repair` writes it anew.",
    ),
)
