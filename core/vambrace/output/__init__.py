"""Hands tables on: filters, views, exports, the reading face, and the summary of a run."""

from vambrace.output.face import Dataset, open_dataset

__all__ = ["Dataset", "open_dataset"]
