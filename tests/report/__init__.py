"""Tests of the report page."""
