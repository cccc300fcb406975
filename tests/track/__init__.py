"""Tests of `batterymodel.track`."""
