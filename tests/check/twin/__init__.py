"""Tests of the comparison of a model with its hardware twin."""
