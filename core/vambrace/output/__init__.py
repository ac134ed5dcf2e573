"""Hands tables on: filters, views, exports, the reading face, and the summary of a run."""
