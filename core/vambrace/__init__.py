"""Vambrace: mixed exports of wearable devices, read into one tidy, validated, traceable dataset."""
