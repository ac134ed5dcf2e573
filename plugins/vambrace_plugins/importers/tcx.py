"""Reads TCX v2: each activity is a recording, each track point a row; the totals of its laps are another recording."""

from __future__ import annotations



