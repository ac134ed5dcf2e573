"""The conformance kit: tests that every importer and writer must pass, for the authors of plugins.

Install it with `pip install "vambrace[testing]"`, which adds pytest and hypothesis. Inherit from
`ImporterConformance` or `WriterConformance`, name the plugin and its samples, and run pytest.
`vambrace.testing.strategies` makes the data model's values for tests of your own.
"""

from vambrace.testing.failure import Failure
from vambrace.testing.foreign import Foreign, foreign_paths
from vambrace.testing.importers import IMPORTER_CHECKS, ImporterConformance
from vambrace.testing.sample import Sample, Subject
from vambrace.testing.writer_checks import WriterSubject
from vambrace.testing.writers import WRITER_CHECKS, WriterConformance

__all__ = [
    "IMPORTER_CHECKS",
    "WRITER_CHECKS",
    "Failure",
    "Foreign",
    "ImporterConformance",
    "Sample",
    "Subject",
    "WriterConformance",
    "WriterSubject",
    "foreign_paths",
]
