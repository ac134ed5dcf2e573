"""Holds the smallest example of each refusal that `docs/refusals.md` explains, by topic, with the way on."""

from __future__ import annotations

import refusals_archives
import refusals_csv_numbers
import refusals_csv_table
import refusals_csv_times
import refusals_files
import refusals_formats
import refusals_importers
import refusals_mappings
from refusal_example import Example

TOPICS: dict[str, tuple[Example, ...]] = {
    "Files and folders": refusals_files.EXAMPLES,
    "Archives and compressed files": refusals_archives.EXAMPLES,
    "Formats, GPX, TCX and FIT": refusals_formats.EXAMPLES,
    "Tables of text: the table": refusals_csv_table.EXAMPLES,
    "Tables of text: numbers and units": refusals_csv_numbers.EXAMPLES,
    "Tables of text: times and zones": refusals_csv_times.EXAMPLES,
    "Tables that a mapping file explains": refusals_mappings.EXAMPLES,
    "Importers and the computer": refusals_importers.EXAMPLES,
}
EXAMPLES = [example for examples in TOPICS.values() for example in examples]
