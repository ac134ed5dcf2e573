"""Comparison of a device with a reference: pure functions on arrays.

Times are int64 microseconds in ascending order, values float64, keys (session, participant, activity) integer codes.
A difference is always device minus reference. Nothing here reads files or knows of datasets. SciPy is imported inside
the functions that need it, so that importing this package costs no more than NumPy.
"""
